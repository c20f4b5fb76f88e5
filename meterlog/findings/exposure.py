"""Says in which stretches of time a fault could have been seen, and which faults count there: for rates and chances."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from meterlog.events.event import Event
from meterlog.findings.evidence import Evidence
from meterlog.findings.level import thin, upper_level
from meterlog.reading import Quantity
from meterlog.series import Series
from meterlog.session.model import Channel

_MOST_LOOKED_AT = 500_000
"""Longer logs are thinned evenly before the time they were on is added up."""


_NO_WAITS: NDArray[np.float64] = np.empty(0)


def countable_faults(evidence: Evidence, channel: Channel) -> list[Event]:
    """The faults on a channel; where an armed capture waited for them, those that its condition catches."""
    faults = evidence.faults_of(channel)
    condition = evidence.waited_for
    if condition is None or not len(waits(evidence, channel)):
        return faults
    return [event for event in faults if condition.catches(event)]


def waits(evidence: Evidence, channel: Channel) -> NDArray[np.float64]:
    """Return when an armed capture began to wait for what this channel's faults bring about, s; shape (n,).

    A feed that was on when the wait for a fall began stayed on until the condition came true: that time was watched,
    although none of it was kept. So was ohms that waited for an opening. Not where the link was lost meanwhile.
    """
    condition = evidence.waited_for
    catching = condition is not None and condition.kind in ("fall", "below", "open")
    if condition is None or not catching or not condition.concerns(channel.number, channel.label, channel.quantity):
        return np.empty(0)
    gaps = [(gap.start_s, gap.end_s) for gap in evidence.events_of(channel, "gap")]
    times = evidence.series(channel).time_s
    begun: list[float] = []
    for marker in evidence.markers:
        if marker.ends_recording:
            back = int(np.searchsorted(times, marker.time_s))
            end_s = float(times[back]) if back < len(times) else np.inf
            if not any(start < end_s and end > marker.time_s for start, end in gaps):
                begun.append(marker.time_s)
    return np.asarray(begun, np.float64)


def visible_time(series: Series, channel: Channel, waits: NDArray[np.float64] = _NO_WAITS) -> NDArray[np.float64]:
    """The stretches, shape (n, 2), in which an event could have been seen: readings there, and the circuit on.

    In `waits`, shape (m,), an armed capture began to wait, until the next reading that was kept: it saw what came.
    """
    series = thin(series, _MOST_LOOKED_AT)
    if len(series) < 2:
        return np.empty((0, 2))
    value = np.abs(series.value)
    if channel.quantity in (Quantity.RESISTANCE, Quantity.CONTINUITY):
        on = np.isfinite(value)
    else:
        level = upper_level(series, channel.accuracy)
        on = value >= (abs(level.value) / 2 if level else np.inf)
    steps = np.diff(series.time_s)
    there = steps <= max(1.0, 5 * float(np.median(steps)))
    begun = np.searchsorted(series.time_s, waits) - 1
    there[begun[(begun >= 0) & (begun < len(steps))]] = True
    seen = on[:-1] & there
    edges = np.flatnonzero(np.diff(np.concatenate([[False], seen, [False]]).astype(np.int8)))
    return series.time_s[edges].reshape(-1, 2)


def burst_starts(events: list[Event], window_s: float) -> list[float]:
    """The starts of events, those nearer than a window to the last counted one being the same burst.

    Intermittent contacts come in bursts; counting each flicker would make chance look impossible.
    """
    starts: list[float] = []
    last_s = -np.inf
    for event in events:
        if event.start_s - last_s >= window_s:
            starts.append(event.start_s)
        last_s = max(last_s, event.start_s)
    return starts
