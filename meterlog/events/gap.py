"""No readings for a while: the link, not the circuit."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from meterlog.events.event import Event
from meterlog.events.settings import DetectionSettings
from meterlog.session.model import LinkChange
from meterlog.signal.track import Track

_PART = 32768
_JITTER = 0.2
"""Exactly four intervals, by three lost readings, are no gap, however they jitter."""


def breaks(track: Track, start: int, stop: int, declared_s: float | None, settings: DetectionSettings) -> list[int]:
    """The readings in [start, stop), start >= 1, before which readings are missing.

    Args:
        track: the readings.
        start: the first reading to judge.
        stop: the first not to judge.
        declared_s: the meter's declared interval, used until four readings tell it, s.
        settings: what a gap is.
    """
    found: list[int] = []
    for part in range(start, stop, _PART):
        times: NDArray[np.float64] = track.times(part - 1, min(part + _PART, stop))
        spacing = times[1:] - times[:-1]
        if not spacing.max(initial=0.0) > settings.gap_at_least_s:
            continue
        for at in np.flatnonzero(spacing > settings.gap_at_least_s):
            index = part + int(at)
            nominal = track.nominal_s(index)
            if nominal != nominal:
                nominal = declared_s if declared_s else float("inf")
            least_s = spacing[at] - track.time_error_s(index - 1) - track.time_error_s(index)
            if least_s > max((settings.gap_intervals + _JITTER) * nominal, settings.gap_at_least_s):
                found.append(index)
    return found


def lost_links(
    channel: int, changes: Iterable[LinkChange], armed: bool, known: Iterable[Event], end_s: float
) -> list[Event]:
    """The times when the link was down that no missing readings show: nothing would have been seen then.

    While an armed capture waits nothing is kept, so what is missing is no gap; and a link that is down at the end has
    no reading after it. For these the session has only the comings and goings of the link.

    Args:
        channel: on which channel.
        changes: of all links, in order.
        armed: whether the session is an armed capture's.
        known: the gaps that missing readings show already.
        end_s: the session's last reading, marker or link change; the recording may have gone on after it.
    """
    known, found = list(known), []
    own = [change for change in changes if change.channel == channel]
    if own and not own[-1].up:
        down = own[-1]
        detail = f"no readings from here to the end: {down.cause}"
        found.append(Event("gap", channel, down.time_s, max(end_s, down.time_s), None, None, detail=detail))
    if not armed:
        return found
    for down, up in pairwise(own):
        shown = any(event.start_s < up.time_s and event.end_s > down.time_s for event in known)
        if down.up or not up.up or shown:
            continue
        length_s = up.time_s - down.time_s
        detail = f"no readings for {length_s:.1f} s while it was armed: {down.cause}"
        found.append(Event("gap", channel, down.time_s, up.time_s, length_s, None, detail=detail))
    return found


def gap(track: Track, index: int, channel: int) -> Event:
    """The gap before reading `index`."""
    start, end = track.time(index - 1), track.time(index)
    interval = track.nominal_s(index)
    known = interval == interval
    # The link went some time after the last reading and was back some time before the next: about one interval less.
    return Event(
        "gap",
        channel,
        start,
        end,
        end - start - (interval if known else 0.0),
        1.1 * interval + track.time_error_s(index - 1) + track.time_error_s(index) if known else None,
        detail=f"no readings for {end - start:.1f} s: the link to the meter, not the circuit",
    )
