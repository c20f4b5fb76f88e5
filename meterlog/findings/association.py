"""Tests whether events go with markers: 'it drops when this connector is moved' as a computed statement."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from meterlog.events.event import Event
from meterlog.findings.chance import chance_of_at_least, unseen_share
from meterlog.findings.evidence import Evidence
from meterlog.findings.finding import Finding
from meterlog.findings.level import thin, upper_level
from meterlog.reading import Quantity
from meterlog.series import Series
from meterlog.session.model import CAPTURE, Channel
from meterlog.text.figures import count, seconds

_SWITCHING = frozenset({"key-on", "crank", "key-off"})
"""Markers that switch the circuit themselves: what follows them is their doing and needs no test."""

_LEAST_MARKERS = 2

_MOST_LOOKED_AT = 500_000
"""Longer logs are thinned evenly before the time they were on is added up."""


_NO_WAITS: NDArray[np.float64] = np.empty(0)


class Tally(NamedTuple):
    """Events counted against one name of marker.

    Attributes:
        markers: how many markers of that name, with something to be seen after them.
        inside: events that began within the window after one.
        total: events in all.
        share: the windows' share of the time in which an event could have been seen, 0 to 1.
    """

    markers: int
    inside: int
    total: int
    share: float

    @property
    def chance(self) -> float:
        """The probability of as many or more inside by chance."""
        return chance_of_at_least(self.inside, self.total, self.share)


def findings(evidence: Evidence) -> list[Finding]:
    """One finding for each channel and name of marker."""
    names: dict[str, list[float]] = {}
    for marker in evidence.markers:
        key = marker.name.strip().casefold()
        if key not in _SWITCHING and marker.by != CAPTURE:  # what an armed capture sets goes with its events by itself
            names.setdefault(key, []).append(marker.time_s)
    names = {name: times for name, times in names.items() if len(times) >= _LEAST_MARKERS}
    channels = evidence.of(Quantity.DC_VOLTAGE, Quantity.DC_CURRENT, Quantity.RESISTANCE, Quantity.CONTINUITY)
    window_s = evidence.limits.value("marker_window_s")
    tallies = []
    for channel in channels if names else ():
        waits = _waits(evidence, channel)
        starts = burst_starts(_faults(evidence, channel, caught=bool(len(waits))), window_s)
        visible = visible_time(evidence.series(channel), channel, waits)
        for name, times in names.items():
            tally = count_after(starts, times, visible, window_s)
            if tally.markers:  # else all came while the circuit was off, or the link
                tallies.append((channel, name, tally))
    tests = sum(1 for _, _, tally in tallies if tally.total)
    return [_finding(evidence, channel, name, tally, tests) for channel, name, tally in tallies]


def _faults(evidence: Evidence, channel: Channel, *, caught: bool) -> list[Event]:
    """The faults on a channel; with `caught` only those that an armed capture's condition catches while it waits."""
    faults = evidence.faults_of(channel)
    condition = evidence.waited_for
    return [e for e in faults if condition is not None and condition.catches(e)] if caught else faults


def _waits(evidence: Evidence, channel: Channel) -> NDArray[np.float64]:
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
    begun = []
    for marker in evidence.markers:
        if marker.ends_recording:
            back = int(np.searchsorted(times, marker.time_s))
            end_s = float(times[back]) if back < len(times) else np.inf
            if not any(start < end_s and end > marker.time_s for start, end in gaps):
                begun.append(marker.time_s)
    return np.asarray(begun, np.float64)


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


def count_after(starts: list[float], markers: list[float], visible: NDArray[np.float64], window_s: float) -> Tally:
    """Count the starts within a window after any marker, against the share of the visible time in the windows."""
    moments = np.sort(np.asarray(markers, np.float64))
    last = np.searchsorted(moments, starts, "right") - 1
    inside = int(np.count_nonzero((last >= 0) & (np.asarray(starts) - moments[last] <= window_s)))
    ends = np.minimum(moments + window_s, np.append(moments[1:], np.inf))
    seen_s = np.concatenate([[0.0], np.cumsum(visible[:, 1] - visible[:, 0])])
    edges = np.concatenate([visible.ravel(), [np.finfo(np.float64).max]])
    passed = np.concatenate([np.column_stack([seen_s[:-1], seen_s[1:]]).ravel(), seen_s[-1:]])
    begun_s = np.interp(moments, edges, passed)
    covered_s = float((np.interp(ends, edges, passed) - begun_s).sum())
    tries = int(np.count_nonzero(np.interp(moments + window_s, edges, passed) > begun_s))
    return Tally(tries, inside, len(starts), covered_s / seen_s[-1] if seen_s[-1] > 0 else 0.0)


def _finding(evidence: Evidence, channel: Channel, name: str, tally: Tally, tests: int) -> Finding:
    window_s = evidence.limits.value("marker_window_s")
    most = evidence.limits.figure("chance_max")
    limit = f"events go with the marker where chance alone gives as many less often than {most.number():g}"
    source = f"exact conditional binomial test{_corrected(tests)}; {most.cite()}"
    condition = evidence.waited_for
    waited = condition is not None and len(_waits(evidence, channel)) > 0
    armed = f" Counted is what '{condition and condition.text}' catches, also while it waited." if waited else ""
    told = f"within {seconds(window_s)} after {count(tally.markers, 'marker')} '{name}'"
    if not tally.total:
        text = (
            f"{channel.label}: nothing happened {told}. A fault that shows at more than "
            f"{unseen_share(tally.markers):.0%} of such tries would have been seen 95 times in 100.{armed}"
        )
        return Finding(
            text, "nothing happens when it is moved", "binomial distribution", "within", channel=channel.number
        )
    chance = min(1.0, tally.chance * tests)
    text = (
        f"{channel.label}: {tally.inside} of {count(tally.total, 'event')} began {told}, which is {tally.share:.0%} of "
        f"the time watched. By chance alone that many or more happens with probability {_probability(chance)}.{armed}"
    )
    margin = chance - most.number()
    if margin < 0:
        text += f" So it happens at '{name}'."
        return Finding(text, limit, source, "outside", margin, 0.0, channel.number)
    text += " That is no proof that they go together, nor that they do not."
    return Finding(text, limit, source, "cannot tell", margin, 0.0, channel.number)


def _corrected(tests: int) -> str:
    return f", times {tests} for the {tests} pairs of channel and marker tried" if tests > 1 else ""


def _probability(chance: float) -> str:
    return "below one in a million" if chance < 1e-6 else f"{chance:.2g}"
