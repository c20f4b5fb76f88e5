"""Puts traces, meters, markers and what a person enters together as one log with its truth."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from tests.bench.detection_world.meter import Meter, Shown, read
from tests.bench.detection_world.trace import Array, Mask, Rng, Trace


@dataclass(slots=True)
class Wire:
    """One channel: its name, signal and meter, what is done to its readings, and for how long nobody looked, s."""

    label: str
    trace: Trace
    meter: Meter
    quantity: str = "dc_voltage"
    unit: str = "V"
    meddle: Callable[[Shown], Shown] | None = None
    unwatched_s: float = 0.0
    shown: Shown = field(init=False)

    @property
    def blind_s(self) -> float:
        """Return what is longer than this shows in a reading of its own, s; where nothing was lost."""
        return self.meter.cadence_s + self.meter.window_s + 2.0 * self.meter.jitter_s


@dataclass(slots=True)
class Scene:
    """One log.

    Attributes:
        rng: its random numbers.
        wires: its channels.
        markers: time, s, and name.
        details: what the person enters, as `--set` takes it.
        healthy: the circuit has no fault, so nothing may be 'outside'; None where that may be seen either way.
        faulty: an event or 'outside' must come.
        certain_fault: 'outside' must come.
        cannot_tell: 'outside' must not come, since these readings alone have a healthy explanation.
        neutral: kinds that may be listed or not: a real change of the signal that is no fault, or a matter of taste.
        must_say: patterns of which each has to stand in some finding or event.
        must_not_say: patterns that may stand in none.
        no_within: no finding may be 'within'.
        recorded: it is a recording, with the meter's flags and the markers' own times; else a table that is imported.
    """

    rng: Rng
    wires: list[Wire] = field(default_factory=list)
    markers: list[tuple[float, str]] = field(default_factory=list)
    details: dict[str, str] = field(default_factory=dict)
    healthy: bool | None = None
    faulty: bool = False
    certain_fault: bool = False
    cannot_tell: bool = False
    neutral: tuple[str, ...] = ()
    must_say: list[str] = field(default_factory=list)
    must_not_say: list[str] = field(default_factory=list)
    no_within: bool = False
    recorded: bool = False

    def wire(
        self,
        label: str,
        meter: Meter | None = None,
        *,
        quantity: str = "dc_voltage",
        unit: str = "V",
        scale: float = 12.0,
        step_s: float = 0.001,
    ) -> Trace:
        """Add a channel; return its trace, to be drawn on."""
        meter = meter or Meter.drawn(self.rng, scale)
        trace = Trace(self.rng, step_s)
        self.wires.append(Wire(label, trace, meter, quantity, unit))
        return trace

    @property
    def meter(self) -> Meter:
        """The first channel's meter."""
        return self.wires[0].meter

    def mark(self, time_s: float, name: str) -> None:
        """Set a marker."""
        self.markers.append((time_s, name))

    def read(self) -> None:
        """Let every meter read its signal."""
        for wire in self.wires:
            shown = read(wire.meter, wire.trace.values, wire.trace.step_s, self.rng)
            wire.shown = wire.meddle(shown) if wire.meddle else shown


def without(start_s: float, end_s: float) -> Callable[[Shown], Shown]:
    """A meddling that loses the readings of a span."""
    return lambda shown: shown.only(outside(shown.true_s, start_s, end_s))


def outside(time_s: Array, start_s: float, end_s: float) -> Mask:
    """Find where the times are not inside a span; shape (n,)."""
    return (time_s < start_s) | (time_s >= end_s)
