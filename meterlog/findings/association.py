"""Tests whether events go with markers: 'it drops when this connector is moved' as a computed statement."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from meterlog.events.event import Event
from meterlog.findings.chance import chance_of_at_least, chance_of_at_least_among, unseen_share
from meterlog.findings.evidence import Evidence
from meterlog.findings.exposure import burst_starts, countable_faults, visible_time, waits
from meterlog.findings.finding import Finding
from meterlog.reading import Quantity
from meterlog.session.model import CAPTURE, Channel
from meterlog.text.figures import count, seconds

_SWITCHING = frozenset({"key-on", "crank", "key-off"})
"""Markers that switch the circuit themselves: what follows them is their doing and needs no test."""

_LEAST_MARKERS = 2


_BLOCK_WINDOWS, _MOST_BLOCKS = 20.0, 30
"""Parts of the time, each with a rate of faults of its own: at least so many windows long, at most so many. By
simulation: smaller ones prove less of what is true, larger ones more of what is not."""

_REACTION_S = 4.0
"""A marker so soon after a fault began, or while it lasts, may have been set because it was felt, s. A guess."""

_PAUSE_S, _PAUSE_WINDOWS = 20.0, 6.0
"""The pause between markers that is advised, and the least in windows: then the windows are a sixth of the time."""

_MOST_MORE = 30
"""More tries than this are no advice. A guess."""


class Tally(NamedTuple):
    """Events counted against one name of marker.

    Attributes:
        markers: how many markers of that name, with something to be seen after them.
        inside: events that began within the window after one.
        total: events in all.
        covered_s: the windows' part of the time in which an event could have been seen, s.
        seen_s: the time in which an event could have been seen, s.
        parts: the same time in parts: of each its events, and the windows' share of it.
    """

    markers: int
    inside: int
    total: int
    covered_s: float
    seen_s: float
    parts: tuple[tuple[int, float], ...] = ()

    @property
    def share(self) -> float:
        """The windows' share of the time in which an event could have been seen, 0 to 1."""
        return self.covered_s / self.seen_s if self.seen_s > 0 else 0.0

    @property
    def chance(self) -> float:
        """The probability of as many or more inside by chance, the faults as likely at all times."""
        return chance_of_at_least(self.inside, self.total, self.share)

    @property
    def chance_within_parts(self) -> float:
        """The same where each part of the time has a rate of its own: faults that come only while it is cold."""
        return chance_of_at_least_among(self.inside, self.parts) if self.parts else self.chance

    def with_more(self, tries: int, pause_s: float, window_s: float) -> Tally:
        """The tally after more tries with a pause between them, each with an event within its window."""
        return Tally(
            self.markers + tries,
            self.inside + tries,
            self.total + tries,
            self.covered_s + tries * window_s,
            self.seen_s + tries * pause_s,
            (*self.parts, (tries, window_s / pause_s)),
        )


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
        faults = evidence.faults_of(channel)
        for name, times in names.items():
            tries = unprompted(times, faults)
            tally = count_after(starts, tries, visible, window_s)
            if tally.markers or len(tries) < len(times):  # else all came while the circuit was off, or the link
                tallies.append((channel, name, tally, len(times) - len(tries)))
    tests = sum(1 for *_, tally, _ in tallies if tally.total)
    return [_finding(evidence, channel, name, tally, tests, after) for channel, name, tally, after in tallies]


def unprompted(markers: list[float], faults: list[Event]) -> list[float]:
    """The markers that no fault went before: one that was set because a fault was felt is no try."""
    spans = np.array([(f.start_s, max(f.end_s, f.start_s + _REACTION_S)) for f in faults]).reshape(-1, 2)
    return [time_s for time_s in markers if not ((spans[:, 0] < time_s) & (time_s <= spans[:, 1])).any()]


def count_after(starts: list[float], markers: list[float], visible: NDArray[np.float64], window_s: float) -> Tally:
    """Count the starts within a window after any marker, against the share of the visible time in the windows."""
    moments, begun = np.sort(np.asarray(markers, np.float64)), np.asarray(starts, np.float64)
    last = np.searchsorted(moments, begun, "right") - 1
    inside = 0
    if len(moments):
        inside = int(np.count_nonzero((last >= 0) & (begun - moments[last] <= window_s)))
    ends = np.minimum(moments + window_s, np.append(moments[1:], np.inf))
    seen_s = np.concatenate([[0.0], np.cumsum(visible[:, 1] - visible[:, 0])])
    edges = np.concatenate([visible.ravel(), [np.finfo(np.float64).max]])
    passed = np.concatenate([np.column_stack([seen_s[:-1], seen_s[1:]]).ravel(), seen_s[-1:]])
    windows = np.interp(np.stack([moments, ends]), edges, passed)  # in the time that could be seen, s
    tries = int(np.count_nonzero(np.interp(moments + window_s, edges, passed) > windows[0]))
    parts = _parts(np.interp(begun, edges, passed), windows, float(seen_s[-1]), window_s)
    return Tally(tries, inside, len(starts), float((windows[1] - windows[0]).sum()), float(seen_s[-1]), parts)


def _parts(
    starts: NDArray[np.float64], windows: NDArray[np.float64], seen_s: float, window_s: float
) -> tuple[tuple[int, float], ...]:
    """Part the time that could be seen evenly; of each part its events, and the windows' share of it."""
    count = int(min(_MOST_BLOCKS, seen_s / (_BLOCK_WINDOWS * window_s)))
    if count < 2:
        return ()
    edges = np.linspace(0.0, seen_s, count + 1)
    covered = (np.minimum(windows[1], edges[1:, None]) - np.maximum(windows[0], edges[:-1, None])).clip(0.0).sum(axis=1)
    events = np.bincount(np.clip(np.searchsorted(edges, starts, "right") - 1, 0, count - 1), minlength=count)
    shares = np.minimum(covered / (seen_s / count), 1.0)
    return tuple((int(n), float(share)) for n, share in zip(events, shares, strict=True))


def _finding(evidence: Evidence, channel: Channel, name: str, tally: Tally, tests: int, after_faults: int) -> Finding:
    window_s = evidence.limits.value("marker_window_s")
    most = evidence.limits.figure("chance_max")
    limit = f"events go with the marker where chance alone gives as many less often than {most.number():g}"
    source = f"exact conditional binomial test{_corrected(tests)}; {most.cite()}"
    left_out = _left_out(after_faults, name)
    if not tally.markers:
        text = f"{channel.label}: {left_out} None is left that could prove anything."
        return Finding(text, limit, source, "cannot tell", channel=channel.number)
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
    chance, apart = (min(1.0, one * tests) for one in (tally.chance, tally.chance_within_parts))
    text = (
        f"{channel.label}: {tally.inside} of {count(tally.total, 'event')} began {told}, which is {tally.share:.0%} of "
        f"the time watched. By chance alone that many or more happens with probability {_probability(chance)}.{armed}"
    )
    text += f" {left_out}" if left_out else ""
    margin = max(chance, apart) - most.number()
    if margin < 0:
        text += f" So it happens at '{name}'."
        return Finding(text, limit, source, "outside", margin, 0.0, channel.number)
    text += f" {_why_no_proof(tally, chance, apart, most.number() / tests, name)}"
    text += _would_prove(tally, most.number() / tests, window_s, name)
    return Finding(text, limit, source, "cannot tell", margin, 0.0, channel.number)


def _left_out(after_faults: int, name: str) -> str:
    if not after_faults:
        return ""
    return (
        f"{count(after_faults, 'marker')} '{name}' within {seconds(_REACTION_S)} of a fault's beginning "
        f"{'is' if after_faults == 1 else 'are'} left out: set because a fault was felt, a marker proves nothing."
    )


def _why_no_proof(tally: Tally, chance: float, apart: float, most: float, name: str) -> str:
    """Say why the counts prove nothing; `most` is the chance below which they would."""
    if chance < most < apart:
        return (
            f"But faults and markers fell into the same part of the recording (there the chance is "
            f"{_probability(apart)}): they may share another cause, as where both come only while it is cold. "
            "That is no proof."
        )
    if chance_of_at_least(tally.total, tally.total, tally.share) >= most and tally.share > 1 / _PAUSE_WINDOWS:
        return f"The markers '{name}' come so often that nothing could be proved, whatever happened."
    return "That is no proof that they go together, nor that they do not."


def _would_prove(tally: Tally, most: float, window_s: float, name: str) -> str:
    """Say how many more tries would prove it, each with a fault; '' where that would be many."""
    pause_s = max(_PAUSE_S, _PAUSE_WINDOWS * window_s)
    for tries in range(1, _MOST_MORE + 1):
        more = tally.with_more(tries, pause_s, window_s)
        if max(more.chance, more.chance_within_parts) < most:
            return (
                f" Pause {seconds(pause_s)} between them; {tries} more '{name}' would do, with a fault within "
                f"{seconds(window_s)} of each."
            )
    return ""


def _corrected(tests: int) -> str:
    return f", times {tests} for the {tests} pairs of channel and marker tried" if tests > 1 else ""


def _probability(chance: float) -> str:
    return "below one in a million" if chance < 1e-6 else f"{chance:.2g}"
