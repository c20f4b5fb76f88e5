"""Says what the detectors of a channel really watched: which kinds, for how long, and what could have passed unseen.

Everything that claims 'nothing was seen' reads this. It is filled by the detection itself, from the looks that its
machines were given: repeats of a polled display, stored values and overload are not among them.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from meterlog.events.event import Event
from meterlog.kinds import KINDS
from meterlog.signal.interval import Interval
from meterlog.signal.track import Track
from meterlog.text.figures import count, seconds

_PART = 32768
"""Readings gone through at once: they stay within a processor's cache. A choice."""

Span = tuple[float, float]
"""From when to when, s."""


@dataclass(frozen=True, slots=True)
class Watch:
    """Holds what was watched on one channel.

    Attributes:
        looks_for: the kinds that a machine really looked for.
        interval: of the readings, as a person is told it.
        span_s: from the first look to the last, s.
        on_s: how long the supply was on while it was watched, s; None where nothing tells on from off.
        longest_s: the longest wait for a look while watched, with what the times of two may be wrong, s.
        unwatched: the stretches without looks, in time order.
        longest_unwatched_s: the longest of them, with what the times of its ends may be wrong, s; 0 without any.
        undecided: when something fell, s, that the readings do not tell to be a fault or none.
    """

    looks_for: tuple[str, ...]
    interval: Interval
    span_s: float = 0.0
    on_s: float | None = None
    longest_s: float = float("nan")
    unwatched: tuple[Span, ...] = ()
    longest_unwatched_s: float = 0.0
    undecided: tuple[float, ...] = ()

    @property
    def watched_s(self) -> float:
        """Return for how long looks came, s: breaks are left out."""
        return max(self.span_s - sum(end_s - start_s for start_s, end_s in self.unwatched), 0.0)

    @property
    def faults(self) -> tuple[str, ...]:
        """The kinds of fault that were looked for."""
        return tuple(kind for kind in self.looks_for if KINDS[kind].fault)

    @property
    def shortest_visible_s(self) -> float:
        """The shortest event that is sure to show in full, wherever it fell between the first look and the last, s.

        A look may average what went before it for as long as a look takes, so an event is sure to fill one look only
        when it is longer than the longest wait for a look and that. NaN where there are too few looks.
        """
        return max(self.shortest_while_watched_s, self.longest_unwatched_s + self.interval.look_s)

    @property
    def shortest_while_watched_s(self) -> float:
        """The same for what did not fall into a break, s."""
        return self.longest_s + self.interval.look_s

    def missed_some_of(self, event: Event) -> bool:
        """Tell whether something of an event fell into a stretch without looks."""
        return any(start_s < event.end_s and end_s > event.start_s for start_s, end_s in self.unwatched)

    @property
    def breaks(self) -> str:
        """One sentence on the stretches without looks; '' where there are none."""
        if not self.unwatched:
            return ""
        lengths_s = [end_s - start_s for start_s, end_s in self.unwatched]
        longest = f", the longest {seconds(max(lengths_s))}" if len(lengths_s) > 1 else ""
        return (
            f"In {count(len(lengths_s), 'break')} ({seconds(sum(lengths_s))} in all{longest}) nothing was watched: "
            "what happened then is not known."
        )

    def shortest_s(self, kind: str) -> float:
        """The same for one kind, some of which need several looks in a row."""
        return self.shortest_visible_s + (KINDS[kind].looks - 1) * self.longest_s


class Coverage:
    """Adds up what was watched, as looks come."""

    def __init__(self) -> None:
        self.begin_s = self.end_s = 0.0
        self._longest_s = float("nan")
        self._unwatched: list[tuple[float, float, float]] = []  # from, to, with what their times may be wrong, s

    def feed(
        self, track: Track, start: int, stop: int, breaks: list[int], waited: Callable[[float, float], bool]
    ) -> None:
        """Take on more looks.

        Args:
            track: all looks so far.
            start: the first new one.
            stop: the first that does not count yet.
            breaks: those before which nothing was watched.
            waited: whether an armed capture waited between two times, s; then what is missing is not counted as blind.
        """
        if start == stop:
            return
        if start == 0:
            self.begin_s = track.time(0)
        for part in range(max(start, 1), stop, _PART):
            end = min(part + _PART, stop)
            waits_s = _waits_s(track, part, end)
            for index in breaks:
                if part <= index < end:
                    begin_s, end_s = track.time(index - 1), track.time(index)
                    blind_s = 0.0 if waited(begin_s, end_s) else float(waits_s[index - part])
                    self._unwatched.append((begin_s, end_s, blind_s))
                    waits_s[index - part] = 0.0
            self._longest_s = float(np.fmax(self._longest_s, waits_s.max(initial=0.0)))
        self.end_s = track.time(stop - 1)

    def watch(self, looks_for: tuple[str, ...], interval: Interval, on: list[Span] | None, stood: list[Span]) -> Watch:
        """Say what was watched.

        Args:
            looks_for: the kinds that machines looked for.
            interval: of the readings.
            on: from when to when the supply was on; None where nothing tells.
            stood: from when to when the display stood still.
        """
        parts = _merged([*self._unwatched, *((start_s, end_s, end_s - start_s) for start_s, end_s in stood)])
        unwatched = tuple((start_s, end_s) for start_s, end_s, _ in parts)
        return Watch(
            looks_for,
            interval,
            self.end_s - self.begin_s,
            None if on is None else _watched_of(on, unwatched, self.end_s),
            float(np.fmax(self._longest_s, interval.look_s)),
            unwatched,
            max((blind_s for *_, blind_s in parts), default=0.0),
        )


def _waits_s(track: Track, start: int, stop: int) -> NDArray[np.float64]:
    """Return how long looks [start, stop) may have been waited for, with what their times may be wrong, s."""
    waits_s = np.diff(track.times(start - 1, stop))
    error_s = track.time_errors(start - 1, stop)
    if error_s.any():
        waits_s += error_s[1:]
        waits_s += error_s[:-1]
    return waits_s


def _merged(parts: list[tuple[float, float, float]]) -> list[tuple[float, float, float]]:
    """Join stretches that overlap; each is from when to when, s, and how long nothing could be seen in it, s."""
    joined: list[tuple[float, float, float]] = []
    for start_s, end_s, blind_s in sorted(parts):
        if joined and start_s <= joined[-1][1]:
            before_s, reached_s, also_s = joined.pop()
            start_s, end_s, blind_s = before_s, max(end_s, reached_s), blind_s + also_s
        joined.append((start_s, end_s, blind_s))
    return joined


def _watched_of(on: list[Span], unwatched: tuple[Span, ...], end_s: float) -> float:
    """Return how much of these stretches was watched, s."""
    edges = np.array([*(edge for span in unwatched for edge in span)])
    lost = np.concatenate([[0.0], np.cumsum(np.diff(edges) * (np.arange(len(edges) - 1) % 2 == 0))])
    ends = np.minimum(np.array(on, np.float64).reshape(-1, 2), end_s)
    lost_s = np.interp(ends, edges, lost) if len(edges) else np.zeros_like(ends)
    return float((ends - lost_s)[:, 1].sum() - (ends - lost_s)[:, 0].sum())
