"""No readings for a while: the link, not the circuit.

A table from elsewhere knows nothing of a link, and may hold its readings at several rates, or as they came: there only
what is rare in it is a gap.
"""

from __future__ import annotations

from collections.abc import Iterable
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from meterlog.events.event import Event
from meterlog.events.range_change import is_ranging
from meterlog.events.settings import DetectionSettings
from meterlog.session.model import Channel, LinkChange
from meterlog.signal.track import Track
from meterlog.text.figures import wait

_PART = 32768
_JITTER = 0.2
"""Exactly four intervals, by three lost readings, are no gap, however they jitter."""
_ALIKE = 0.5
"""Waits of this share of another, and longer ones, are like it: a guess."""
_IN_A_ROW = 3
"""So many waits alike, one after another, are a rate and no gaps: a choice."""
_OWN_WAITS = 4
"""Fewer waits alike in a table are gaps, and so are those below"""
_OWN_SHARE = 0.01
"""this share of its readings: guesses."""
_ABOVE_OWN = 2.0
"""A wait longer than a table's own ones by this factor is a gap in it: a guess."""

LINK = "the link to the meter, not the circuit"
TABLE = "the table that was imported holds none"


def why(channel: Channel) -> str:
    """Say what a gap of this channel comes from."""
    return TABLE if channel.imported else LINK


def own_wait_s(channel: Channel, time_s: NDArray[np.float64], settings: DetectionSettings) -> float:
    """The longest wait that is no gap in a table from elsewhere, s: some are as long, or it has several rates.

    0 for what was recorded: there each gap is told as it comes, by the readings before it.
    """
    if not channel.imported or len(time_s) < _OWN_WAITS:
        return 0.0
    waits = np.diff(time_s)
    usual_s = float(np.median(waits))
    long = np.sort(waits[waits > max(settings.gap_at_least_s, settings.gap_intervals * usual_s)])
    if not len(long):
        return 0.0
    longish = np.sort(waits[waits > _ALIKE * long[0]])
    alike = len(longish) - np.searchsorted(longish, _ALIKE * long)
    own = long[alike >= max(_OWN_WAITS, _OWN_SHARE * len(time_s))]
    steady = np.lib.stride_tricks.sliding_window_view(waits, _IN_A_ROW).min(axis=1)
    return _ABOVE_OWN * float(max(own.max(initial=0.0), steady.max(initial=0.0)))


def breaks(
    track: Track, start: int, stop: int, declared_s: float | None, settings: DetectionSettings, own_s: float = 0.0
) -> list[int]:
    """The readings in [start, stop), start >= 1, before which readings are missing.

    Args:
        track: the readings.
        start: the first reading to judge.
        stop: the first not to judge.
        declared_s: the meter's declared interval, used until four readings tell it, s.
        settings: what a gap is.
        own_s: waits up to this are the log's own, s.
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
            most_s = max((settings.gap_intervals + _JITTER) * nominal, settings.gap_at_least_s, own_s)
            if least_s > most_s and not _goes_on(track, index, float(spacing[at])):
                found.append(index)
    return found


def _goes_on(track: Track, index: int, wait_s: float) -> bool:
    """Tell whether the waits before were like this one: then it is the rate at which readings come now."""
    before = np.diff(track.times(max(index - _IN_A_ROW, 0), index))
    return len(before) >= _IN_A_ROW - 1 and bool(before.min() >= _ALIKE * wait_s)


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
        detail = f"no readings for {wait(length_s)} while it was armed: {down.cause}"
        found.append(Event("gap", channel, down.time_s, up.time_s, length_s, None, detail=detail))
    return found


def gap(track: Track, index: int, channel: Channel) -> Event | None:
    """The gap before reading `index`; None where the meter only changed its range, which is an event of its own."""
    start, end = track.time(index - 1), track.time(index)
    if is_ranging(end - start, track.resolution(index - 1), track.resolution(index)):
        return None
    interval = track.nominal_s(index)
    known = interval == interval
    # The link went some time after the last reading and was back some time before the next: about one interval less.
    return Event(
        "gap",
        channel.number,
        start,
        end,
        end - start - (interval if known else 0.0),
        1.1 * interval + track.time_error_s(index - 1) + track.time_error_s(index) if known else None,
        detail=f"no readings for {wait(end - start)}: {why(channel)}",
    )
