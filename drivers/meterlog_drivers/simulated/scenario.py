"""Scenarios, and their runs with a seed."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

from meterlog.events.event import Event
from meterlog.reading import Flag, Quantity, Reading
from meterlog.series import Series
from meterlog.session.model import Marker
from meterlog_drivers.simulated.meter import MeterModel
from meterlog_drivers.simulated.truth import meter_events, true_events
from meterlog_drivers.simulated.van.vehicle import Signal, Solved, Trip, Vehicle

PLACED = ("quantity", "at", "to", "state", "load", "side")
"""Names what says where and how a vehicle is measured, as keys of a reading."""


@dataclass(frozen=True, slots=True)
class Probe:
    """The places of one channel's probes.

    Attributes:
        label: what a person would call the channel.
        point: the test point's id in `van.toml`; `A to B` where the other lead is not on battery -.
        pick: what is between the probes.
        full_scale: the range the dial is set to, if not the scenario meter's.
        supply: it is a supply voltage against battery -, to which the definitions of supply events apply.
    """

    label: str
    point: str
    pick: Callable[[Solved], Signal]
    full_scale: float | None = None
    supply: bool = False


def supply_volts(label: str, at: str) -> Probe:
    """A point of the feed side against battery -."""
    return Probe(label, at, lambda solved: solved.voltage(at), supply=True)


def drop_volts(label: str, at: str, to: str = "battery_minus", full_scale: float | None = None) -> Probe:
    """Probes across a part: what is lost between two points."""
    point = at if to == "battery_minus" else f"{at} to {to}"
    return Probe(label, point, lambda solved: solved.voltage(at, to), full_scale)


def amps(label: str) -> Probe:
    """The pump's current, with a clamp."""
    return Probe(label, "pump", lambda solved: solved.current(), 40.0)


def battery_amps(label: str) -> Probe:
    """Probes for the current of all consumers but the starter, with the meter in the ground cable."""
    return Probe(label, "minus_clamp", lambda solved: solved.battery_current(), 10.0)


def ohms(label: str, at: str, to: str, full_scale: float | None = None) -> Probe:
    """The resistance between two points, the circuit isolated."""
    return Probe(label, f"{at} to {to}", lambda solved: solved.resistance(at, to), full_scale)


@dataclass(frozen=True, slots=True)
class Setup:
    """A van, what is done with it, where the probes are, what is marked, and the meters."""

    trip: Trip
    probes: tuple[Probe, ...]
    markers: tuple[tuple[float, str], ...] = ()
    vehicle: Vehicle = field(default_factory=Vehicle)
    meter: MeterModel = field(default_factory=MeterModel)


@dataclass(frozen=True, slots=True)
class Scenario:
    """A named situation at the van.

    Attributes:
        name: as in `sim:NAME`.
        summary: one line: what is wrong, and what is measured.
        build: the situation for a generator of random numbers.
    """

    name: str
    summary: str
    build: Callable[[np.random.Generator], Setup]

    def run(self, seed: int = 0, *, together: bool = False, **overrides: float | None) -> Run:
        """Run it.

        Args:
            seed: what varies by chance: moments, charge, temperature, resistances, the meters' errors.
            together: all channels are columns of one meter, displayed at the same moments.
            overrides: fields of `MeterModel`, for all the scenario's meters.
        """
        setup = self.build(np.random.default_rng([seed, 0]))
        solved = setup.vehicle.solve(setup.trip, float(np.random.default_rng([seed, 1]).uniform(0.0, 6.2)))
        signals, models, readings = [], [], []
        for k, probe in enumerate(setup.probes):
            model = setup.meter if probe.full_scale is None else replace(setup.meter, full_scale=probe.full_scale)
            model = replace(model, **overrides)  # type: ignore[arg-type]  # the caller names fields of MeterModel
            times = model.display_times(setup.trip.duration_s, np.random.default_rng([seed, 2, 0 if together else k]))
            signal = probe.pick(solved)
            signals.append(signal)
            models.append(model)
            readings.append(model.observe(signal, times, np.random.default_rng([seed, 3, k])))
        marks = tuple(Marker(n, t, name, by="scenario") for n, (t, name) in enumerate(sorted(setup.markers), 1))
        return Run(
            self.name, seed, setup.trip.duration_s, setup.probes, tuple(signals), tuple(models), tuple(readings), marks
        )


@dataclass(frozen=True)
class Run:
    """A scenario that was run. Times are s from its beginning; channels are in the order of `probes`.

    Attributes:
        name, seed: which.
        duration_s: s.
        probes: labels and test points.
        signals: what truly was between the probes.
        models: the meters.
        readings: what they displayed and sent.
        markers: what a person would have marked.
    """

    name: str
    seed: int
    duration_s: float
    probes: tuple[Probe, ...]
    signals: tuple[Signal, ...]
    models: tuple[MeterModel, ...]
    readings: tuple[Series, ...]
    markers: tuple[Marker, ...]

    @property
    def lap_s(self) -> float:
        """The length of one lap when it is repeated: a whole number of display intervals, s."""
        interval = self.models[0].interval_s
        return max(1, round(self.duration_s / interval)) * interval

    def quantity(self, channel: int) -> Quantity:
        """A channel's quantity; channels count from 0 here."""
        return self.signals[channel].quantity

    @cached_property
    def truth(self) -> tuple[Event, ...]:
        """The true events; their channels are numbered from 1, as in a session."""
        found: list[Event] = []
        rows = zip(self.probes, self.signals, self.models, self.readings, strict=True)
        for k, (probe, signal, model, series) in enumerate(rows, 1):
            found += true_events(signal, k, self.markers, probe.supply)
            found += meter_events(series, model, k, self.duration_s)
        return tuple(sorted(found, key=lambda event: (event.start_s, event.channel)))

    def displays(self, channels: tuple[int, ...], start_s: float) -> list[Reading]:
        """The readings of some channels as columns 0, 1, ..., in order of time.

        Args:
            channels: which, from 0.
            start_s: the moment of the scenario's beginning, s.
        """
        found = []
        for column, channel in enumerate(channels):
            series, quantity = self.readings[channel], self.quantity(channel)
            rows = zip(
                series.time_s.tolist(),
                series.value.tolist(),
                series.resolution.tolist(),
                series.flags.tolist(),
                strict=True,
            )
            for t, value, resolution, flags in rows:
                exact = float(f"{resolution:.1e}")
                found.append(Reading(start_s + t, value, quantity, exact, Flag(flags), column))
        return sorted(found, key=lambda reading: (reading.time_s, reading.column))
