"""Healthy and faulty logs as a mechanic records them, made of plain curves and read by an averaging meter.

It shares nothing with the simulated vehicle: what is healthy here was written down from how vehicles behave.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from meterlog.analysis import Analysis, analyze
from meterlog.reading import Quantity
from meterlog.series import Series
from meterlog.session.contents import Contents
from meterlog.session.model import Channel, Marker

Array = NDArray[np.float64]
_FINE_S = 0.01
"""The step of a curve before the meter averages it, s."""


class Curve:
    """A voltage or current over time, drawn piece by piece."""

    def __init__(self, level: float) -> None:
        self._pieces: list[Array] = []
        self._level = level

    @property
    def now_s(self) -> float:
        """Return how long it is so far, s."""
        return float(sum(len(piece) for piece in self._pieces) * _FINE_S)

    def hold(self, length_s: float, level: float | None = None) -> Curve:
        """Go on at a level, or step to one."""
        self._level = self._level if level is None else level
        self._pieces.append(np.full(round(length_s / _FINE_S), self._level))
        return self

    def ramp(self, length_s: float, level: float) -> Curve:
        """Move evenly to a level."""
        self._pieces.append(np.linspace(self._level, level, round(length_s / _FINE_S)))
        self._level = level
        return self

    def start(self, rng: Generator, share: float = 1.0) -> Curve:
        """Crank: a first rush, a plateau with the cylinders' ripple, and back to where it stood."""
        rest, length_s = self._level, float(rng.uniform(0.5, 2.5))
        plateau = rest - share * float(rng.uniform(1.0, 2.4))
        self.ramp(0.05, plateau - share * float(rng.uniform(0.2, 1.2))).ramp(0.15, plateau)
        time_s = np.arange(0.0, length_s, _FINE_S)
        self._pieces.append(plateau + 0.25 * share * np.sin(2 * np.pi * 8.0 * time_s))
        return self.ramp(0.3, rest - 0.1)

    @property
    def values(self) -> Array:
        """Return the whole curve."""
        return np.concatenate(self._pieces)


@dataclass
class Log:
    """Channels with their curves, and what was marked and entered."""

    channels: list[tuple[str, Quantity, Curve]] = field(default_factory=list)
    markers: list[Marker] = field(default_factory=list)
    details: dict[str, str] = field(default_factory=dict)

    def volts(self, label: str, curve: Curve) -> Log:
        """Add a voltage channel."""
        self.channels.append((label, Quantity.DC_VOLTAGE, curve))
        return self

    def amperes(self, label: str, curve: Curve) -> Log:
        """Add a current channel."""
        self.channels.append((label, Quantity.DC_CURRENT, curve))
        return self

    def mark(self, name: str, time_s: float) -> Log:
        """Add a marker."""
        self.markers.append(Marker(len(self.markers) + 1, time_s, name))
        return self

    def analysis(self, rng: Generator) -> Analysis:
        """Read all channels with meters of their own, and analyze."""
        series, channels = {}, []
        for number, (label, quantity, curve) in enumerate(self.channels, 1):
            series[number] = _read(curve.values, rng)
            channels.append(Channel(number, label, quantity))
        length_s = max(float(one.time_s[-1]) for one in series.values())
        return analyze(Contents(series, channels, self.markers, self.details, duration_s=length_s))


def _read(values: Array, rng: Generator) -> Series:
    """Average a curve over windows, as a display does, with its noise and its count."""
    step = int(rng.integers(20, 51))
    window = int(rng.integers(step // 3, step + 1))
    total = np.concatenate([[0.0], np.cumsum(values)])
    stops = np.arange(window, len(values), step)
    shown = (total[stops] - total[stops - window]) / window
    shown = shown * (1.0 + rng.uniform(-0.002, 0.002)) + 0.004 * rng.standard_normal(len(shown))
    time_s = stops * _FINE_S + rng.normal(0.0, 0.004, len(stops))
    count = np.full(len(stops), 0.01, np.float32)
    return Series(np.sort(time_s), np.round(shown, 2), count, np.zeros(len(stops), np.uint16))


Maker = Callable[[Generator], Log]


def prime(rng: Generator) -> Log:
    """Primes of 1.2 to 4 s at three turns of the key, a weak battery now and then, not recorded."""
    battery = float(rng.uniform(11.0, 12.8))
    curve, log = Curve(0.0), Log()
    for _ in range(3):
        curve.hold(rng.uniform(5.0, 12.0), 0.0)
        log.mark("key-on", curve.now_s - 0.2)
        curve.hold(rng.uniform(1.2, 4.0), battery - rng.uniform(0.1, 0.6))
    return log.volts("pump feed", curve.hold(8.0, 0.0))


def pulsed_prime(rng: Generator) -> Log:
    """A prime of a pump that is driven by pulses: its average, with the battery beside it."""
    level, battery = float(rng.uniform(5.0, 10.0)), Curve(float(rng.uniform(12.2, 12.8))).hold(20.0)
    curve = Curve(0.0).hold(6.0).hold(2.0, level).hold(12.0, 0.0)
    return Log().volts("battery", battery).volts("pump feed", curve).mark("key-on", 5.9)


def pulsed_pump(rng: Generator) -> Log:
    """A running pump whose control unit asks for another speed every few seconds."""
    curve = Curve(13.9)
    for _ in range(25):
        curve.ramp(rng.uniform(0.1, 1.5), 13.9 * rng.uniform(0.6, 0.97)).hold(rng.uniform(1.0, 6.0))
    return Log().volts("fuel pump feed", curve)


def primes_now_and_then(rng: Generator) -> Log:
    """A control unit that primes only after the key was off for ten seconds."""
    curve, log = Curve(0.0).hold(4.0), Log()
    for primes in (True, False, True):
        log.mark("key-on", curve.now_s)
        curve.hold(2.0, 12.2 if primes else 0.0).hold(rng.uniform(4.0, 6.0) if primes else 15.0, 0.0)
    return log.volts("pump feed", curve)


def never_primes(rng: Generator) -> Log:
    """A pump that runs only with the starter signal."""
    curve = Curve(0.0).hold(rng.uniform(6.0, 9.0))
    crank_s = curve.now_s
    curve.hold(rng.uniform(2.0, 4.0), 10.5).hold(20.0, 13.7)
    return Log().volts("pump feed", curve).mark("key-on", 3.0).mark("crank", crank_s)


def started(rng: Generator) -> Log:
    """A start seen at an ignition feed, charging some seconds later, unmarked."""
    curve = Curve(float(rng.uniform(12.0, 12.7))).hold(rng.uniform(8.0, 25.0)).start(rng)
    curve.hold(rng.uniform(1.5, 12.0)).ramp(1.0, float(rng.uniform(13.8, 14.5))).hold(40.0)
    return Log().volts("ignition feed", curve)


def started_at_the_battery(rng: Generator) -> Log:
    """A start of a battery in order at 20 degrees, marked."""
    curve = Curve(float(rng.uniform(12.5, 12.8))).hold(12.0).start(rng, 0.7)
    curve.hold(3.0).ramp(1.0, float(rng.uniform(13.9, 14.4))).hold(60.0)
    log = Log(details={"temperature_c": "20"}).volts("battery", curve)
    return log.mark("key-on", 9.0).mark("crank", 11.8)


def started_in_the_cold(rng: Generator) -> Log:
    """A start in deep cold whose temperature nobody entered: the battery goes to 8.7 V, then charges at 15 V."""
    curve = Curve(12.4).hold(10.0).ramp(0.1, float(rng.uniform(8.7, 9.2))).hold(2.0).ramp(0.3, 12.2).hold(3.0)
    curve.ramp(2.0, float(rng.uniform(14.6, 15.0))).hold(60.0)
    return Log().volts("battery", curve).mark("key-on", 7.0).mark("crank", 9.8)


def start_stop(rng: Generator) -> Log:
    """An engine that stops at lights and starts again."""
    curve = Curve(14.2).hold(30.0)
    for _ in range(3):
        curve.ramp(1.0, 12.5).hold(rng.uniform(15.0, 60.0)).start(rng, 0.8).ramp(1.5, 14.2).hold(rng.uniform(20, 60))
    return Log().volts("ignition feed", curve)


def regulated(rng: Generator) -> Log:
    """A generator that goes between 12.2 and 15 V by design."""
    curve = Curve(14.4).hold(20.0)
    for _ in range(12):
        curve.ramp(rng.uniform(1.0, 8.0), float(rng.uniform(12.2, 15.0))).hold(rng.uniform(3.0, 30.0))
    return Log().volts("battery", curve)


def keyed_all_day(rng: Generator) -> Log:
    """An ignition feed switched on and off, marked."""
    curve, log = Curve(0.0).hold(5.0), Log()
    for _ in range(6):
        log.mark("key-on", curve.now_s)
        curve.hold(rng.uniform(15.0, 90.0), float(rng.uniform(12.1, 12.7)))
        log.mark("key-off", curve.now_s)
        curve.hold(rng.uniform(40.0, 120.0), 0.0)
    return log.volts("ignition feed", curve)


def in_use(rng: Generator) -> Log:
    """A battery with the ignition and lamps on from the first reading."""
    return Log().volts("battery", Curve(float(rng.uniform(11.85, 12.2))).hold(90.0))


def sensors(rng: Generator) -> Log:
    """The 5 V of sensors, beside the battery."""
    supply = Curve(float(rng.uniform(4.9, 5.1))).hold(60.0)
    return Log().volts("battery", Curve(12.5).hold(60.0)).volts("sensor supply", supply)


def reversed_leads(rng: Generator) -> Log:
    """Red on ground."""
    return Log().volts("pump feed", Curve(-float(rng.uniform(12.1, 12.8))).hold(60.0))


def traction(rng: Generator) -> Log:
    """Another system's battery, its voltage moving with its load."""
    level = float(rng.choice([36.0, 42.0, 56.0, 96.0, 400.0, 700.0]))
    curve = Curve(level)
    for _ in range(6):
        curve.hold(rng.uniform(5.0, 20.0), level).hold(rng.uniform(3.0, 9.0), 0.85 * level)
    return Log().volts("battery", curve)


def solar(rng: Generator) -> Log:
    """A panel under clouds."""
    curve = Curve(20.0)
    for _ in range(12):
        curve.ramp(rng.uniform(1.0, 12.0), float(rng.uniform(0.5, 38.0))).hold(rng.uniform(2.0, 15.0))
    return Log().volts("solar panel", curve)


def small_load(rng: Generator) -> Log:
    """The current of some load for more than five minutes."""
    curve = Curve(0.4)
    for _ in range(10):
        curve.hold(rng.uniform(20.0, 60.0), float(rng.uniform(0.1, 1.8)))
    return Log().amperes("usb load", curve)


def switched_load(rng: Generator) -> Log:
    """A blower switched off and on by its user."""
    curve = Curve(8.0)
    for _ in range(4):
        curve.hold(rng.uniform(10.0, 30.0), 8.0).hold(rng.uniform(2.0, 20.0), 0.0)
    return Log().amperes("blower current", curve.hold(10.0, 8.0))


def sleeping(rng: Generator) -> Log:
    """A draw whose control units have not gone to sleep yet."""
    curve = Curve(3.0).hold(20.0).hold(60.0, float(rng.uniform(0.3, 0.9))).hold(120.0, float(rng.uniform(0.1, 0.3)))
    return Log().amperes("battery draw", curve).mark("key-off", 2.0)


def across_the_pump(rng: Generator) -> Log:
    """The voltage across a running pump is what it is fed with, and no drop."""
    return Log().volts("across the pump", Curve(0.0).hold(5.0).hold(40.0, float(rng.uniform(12.0, 13.8))))


HEALTHY: dict[str, Maker] = {
    make.__name__: make
    for make in (
        prime, pulsed_prime, pulsed_pump, primes_now_and_then, never_primes, started, started_at_the_battery,
        started_in_the_cold, start_stop, regulated, keyed_all_day, in_use, sensors, reversed_leads, traction, solar,
        small_load, switched_load, sleeping, across_the_pump,
    )
}  # fmt: skip


def dropouts(rng: Generator) -> Log:
    """A feed that falls to nothing for less than a second, now and then."""
    curve = Curve(13.8)
    for _ in range(4):
        curve.hold(rng.uniform(15.0, 40.0), 13.8).hold(rng.uniform(0.9, 1.6), float(rng.uniform(0.0, 2.0)))
    return Log().volts("pump feed", curve.hold(20.0, 13.8))


def deep_sags(rng: Generator) -> Log:
    """A running feed that a bad contact pulls down from its charging level, and that returns to it."""
    curve = Curve(13.8)
    for _ in range(4):
        curve.hold(rng.uniform(15.0, 40.0), 13.8).hold(rng.uniform(2.0, 6.0), float(rng.uniform(8.0, 10.5)))
    return Log().volts("ignition feed", curve.hold(20.0, 13.8))


def chattering(rng: Generator) -> Log:
    """A relay that chatters."""
    curve = Curve(12.6).hold(20.0)
    for _ in range(6):
        curve.hold(0.6, 0.0).hold(0.6, 12.6)
    return Log().volts("lamp feed", curve.hold(rng.uniform(10.0, 20.0)))


def bad_ground(rng: Generator) -> Log:
    """A ground that drops half a volt and more."""
    return Log().volts("pump ground drop", Curve(0.0).hold(5.0).hold(40.0, float(rng.uniform(0.5, 2.0))))


def broken_feed(rng: Generator) -> Log:
    """A lamp's feed two volts below the battery."""
    battery = Curve(12.5).hold(60.0)
    feed = Curve(float(rng.uniform(9.0, 10.8))).hold(60.0)
    return Log().volts("battery", battery).volts("ignition feed", feed)


def flat_battery(rng: Generator) -> Log:
    """A battery at rest that is empty."""
    return Log().volts("battery", Curve(float(rng.uniform(7.0, 11.3))).hold(90.0))


def overcharged(rng: Generator) -> Log:
    """A regulator that lets the voltage run away."""
    return Log().volts("battery", Curve(14.2).hold(60.0).ramp(5.0, float(rng.uniform(15.6, 17.0))).hold(50.0))


def weak_crank(rng: Generator) -> Log:
    """A battery that goes under its floor for seconds while cranking."""
    curve = Curve(12.3).hold(10.0).hold(5.0, float(rng.uniform(6.5, 8.2))).hold(20.0, 12.1)
    return Log(details={"temperature_c": "20"}).volts("battery", curve).mark("key-on", 7.0).mark("crank", 9.8)


def no_feed(rng: Generator) -> Log:
    """No feed at key-on, nor while cranking, of a probe that read 12 V before."""
    curve = Curve(12.4).hold(rng.uniform(20.0, 30.0))
    end_s = curve.now_s
    log = Log().volts("pump feed", curve.hold(50.0, 0.0)).mark("key-off", end_s)
    return log.mark("key-on", end_s + 15.0).mark("crank", end_s + 22.0)


def open_motor(rng: Generator) -> Log:
    """A pump that is fed three times and draws current twice."""
    feed, current = Curve(0.0), Curve(0.0)
    for amperes in (4.5, 0.0, 4.4):
        gap_s = rng.uniform(8.0, 15.0)
        feed.hold(gap_s, 0.0).hold(2.5, 12.2)
        current.hold(gap_s, 0.0).hold(2.5, amperes)
    return Log().volts("pump feed", feed.hold(5.0, 0.0)).amperes("pump current", current.hold(5.0, 0.0))


FAULTY: dict[str, Maker] = {
    make.__name__: make
    for make in (
        dropouts, deep_sags, chattering, bad_ground, broken_feed, flat_battery, overcharged, weak_crank, no_feed,
        open_motor,
    )
}  # fmt: skip
