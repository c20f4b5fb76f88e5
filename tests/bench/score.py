"""Compares found events with true ones: recall, precision, duration, coverage, level."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from meterlog.events.event import Event
from tests.bench.logs import Log, Truth


@dataclass(slots=True)
class Tally:
    """Counts and errors for one kind."""

    found: int = 0
    missed: int = 0
    false: int = 0
    duration: list[float] = field(default_factory=list)
    stated: list[float] = field(default_factory=list)
    covered: list[bool] = field(default_factory=list)
    level: list[float] = field(default_factory=list)
    within: list[bool] = field(default_factory=list)

    @property
    def recall(self) -> float:
        """Share of the true events that were found."""
        return self.found / max(self.found + self.missed, 1)

    @property
    def precision(self) -> float:
        """Share of the found events that are true."""
        return self.found / max(self.found + self.false, 1)

    def line(self, name: str) -> str:
        """One line of the table."""
        words = f"{name:<18}{self.found + self.missed:6d} {self.recall:7.4f} {self.precision:7.4f}"
        if self.duration:
            words += f" {np.median(self.duration):7.3f} {np.median(self.stated):7.3f} {np.mean(self.covered):7.4f}"
        if self.within:
            words += f" {np.mean(self.within):7.4f}" if self.duration else f"{'':24} {np.mean(self.within):7.4f}"
        return words


HEADER = f"{'kind':<18}{'true':>6} {'recall':>7} {'precis.':>7} {'d.err':>7} {'stated':>7} {'cover':>7} {'level':>7}"


@dataclass(slots=True)
class Score:
    """Tallies by kind, and the hours watched."""

    kinds: dict[str, Tally] = field(default_factory=dict)
    healthy_s: float = 0.0
    alarms: int = 0
    complaints: list[str] = field(default_factory=list)

    def add(self, log: Log, events: Sequence[Event], label: str = "") -> None:
        """Judge one log."""
        left = list(events)
        for truth in log.truth:
            wanted = _seen(log, truth)
            tally = self._of(truth.kind)
            match = next((e for e in left if _same(log, e, truth, strict=True)), None)
            if match is not None:
                left.remove(match)
                if wanted:
                    tally.found += 1
                    _measure(self.complaints, log, tally, match, truth)
            elif wanted:
                tally.missed += 1
                self.complaints.append(f"{label} {log.name}: missed {truth}")
            if match is None and not wanted:
                left = [e for e in left if not _same(log, e, truth, strict=False)]
        for event in left:
            self._of(event.kind).false += 1
            self.complaints.append(f"{label} {log.name}: false {event}")
        if log.name == "healthy":
            self.healthy_s += log.duration_s
            self.alarms += len(left)

    def _of(self, kind: str) -> Tally:
        return self.kinds.setdefault(kind, Tally())

    @property
    def total(self) -> Tally:
        """All kinds together."""
        every = Tally()
        for tally in self.kinds.values():
            every.found += tally.found
            every.missed += tally.missed
            every.false += tally.false
            every.duration += tally.duration
            every.stated += tally.stated
            every.covered += tally.covered
            every.within += tally.within
        return every


def _seen(log: Log, truth: Truth) -> bool:
    """Tell whether it is long enough to be found, and a reading whose whole window lies in it was not lost."""
    if not truth.timed or truth.kind in ("gap", "held_display", "meter_battery_low"):
        return True
    window = log.visible_s - log.meter.interval_s
    inside = (log.series.time_s - window >= truth.start_s) & (log.series.time_s <= truth.end_s)
    return truth.end_s - truth.start_s > log.visible_s and bool(inside.any())


def _same(log: Log, event: Event, truth: Truth, strict: bool) -> bool:
    if strict and event.kind != truth.kind:
        return False
    slack = log.meter.interval_s + log.meter.window_s + 0.1
    if truth.kind == "supply_lost":
        return abs(event.start_s - truth.start_s) <= slack + 0.2
    if truth.kind == "resistance_step":
        return event.start_s - slack <= truth.start_s <= event.end_s + slack
    return event.start_s <= truth.end_s + slack and event.end_s >= truth.start_s - slack


def _measure(complaints: list[str], log: Log, tally: Tally, event: Event, truth: Truth) -> None:
    if truth.timed and event.duration_s is not None and event.duration_error_s is not None:
        error = abs(event.duration_s - (truth.end_s - truth.start_s))
        tally.duration.append(error / log.meter.interval_s)
        tally.stated.append(event.duration_error_s / log.meter.interval_s)
        tally.covered.append(error <= event.duration_error_s)
        if error > event.duration_error_s:
            complaints.append(f"not covered: {log.name} {truth} {event} {log.meter}")
    if truth.level is not None and event.level is not None:
        error = abs(event.level - truth.level)
        tally.level.append(error)
        tally.within.append(
            error <= log.channel.accuracy.error(truth.level, log.meter.resolution) + 3 * log.meter.noise
        )
