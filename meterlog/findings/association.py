"""Tests whether events go with markers: 'it drops when this connector is moved' as a computed statement."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from meterlog.findings.chance import chance_of_at_least, unseen_share
from meterlog.findings.evidence import Evidence
from meterlog.findings.exposure import burst_starts, countable_faults, visible_time, waits
from meterlog.findings.finding import Finding
from meterlog.reading import Quantity
from meterlog.session.model import CAPTURE, Channel
from meterlog.text.figures import count, seconds

_SWITCHING = frozenset({"key-on", "crank", "key-off"})
"""Markers that switch the circuit themselves: what follows them is their doing and needs no test."""

_LEAST_MARKERS = 2


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
        starts = burst_starts(countable_faults(evidence, channel), window_s)
        visible = visible_time(evidence.series(channel), channel, waits(evidence, channel))
        for name, times in names.items():
            tally = count_after(starts, times, visible, window_s)
            if tally.markers:  # else all came while the circuit was off, or the link
                tallies.append((channel, name, tally))
    tests = sum(1 for _, _, tally in tallies if tally.total)
    return [_finding(evidence, channel, name, tally, tests) for channel, name, tally in tallies]


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
    waited = condition is not None and len(waits(evidence, channel)) > 0
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
