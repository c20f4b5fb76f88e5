"""Seeded logs whose true events are known: signals drawn here, meters modelled here, nothing taken from the detectors.

A signal is drawn on a grid of one millisecond as levels, ramps and decays; the true events are written down as they are
drawn. A meter then samples it, averages a window before each reading (a box, or an exponential decay), adds gain error,
noise and jitter, rounds to counts, and loses some readings.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from meterlog.reading import Accuracy, Flag, Quantity
from meterlog.series import Series
from meterlog.session.model import Channel, Marker

Rng = np.random.Generator
STEP_S = 0.001
SETTLE_S = 6.0


@dataclass(frozen=True, slots=True)
class Truth:
    """One true event; `level` and `extreme` only where they are defined by how the signal was drawn."""

    kind: str
    start_s: float
    end_s: float
    level: float | None = None
    timed: bool = True


@dataclass(slots=True)
class Meter:
    """The way in which the log's meter reads."""

    interval_s: float
    window_s: float
    style: str
    noise: float
    jitter_s: float
    resolution: float
    gain: float
    lost: float

    @classmethod
    def drawn(cls, rng: Rng, span: float = 12.0) -> Meter:
        """A meter of some kind: sampling, averaging a part or all of its interval, or smoothing."""
        interval = float(np.exp(rng.uniform(np.log(0.05), np.log(0.5))))
        style = str(rng.choice(["sample", "box", "box", "full", "smooth"]))
        window = {"sample": 0.0, "box": rng.uniform(0.1, 0.95), "full": 1.0, "smooth": rng.uniform(0.1, 0.35)}[style]
        return cls(
            interval,
            float(window) * interval,
            style,
            noise=float(rng.choice([0.0, 0.0005, 0.002, 0.004])) * span,
            jitter_s=float(rng.choice([0.0, 0.002, 0.02, 0.05])) * interval,
            resolution=float(rng.choice([0.001, 0.01, 0.01, 0.1 if span > 20 else 0.01])),
            gain=1.0 + float(rng.uniform(-0.003, 0.003)),
            lost=float(rng.choice([0.0, 0.0, 0.005, 0.02])),
        )

    def times(self, duration_s: float, rng: Rng) -> NDArray[np.float64]:
        """Return the times at which readings are shown, s."""
        start = rng.uniform(max(self.window_s, 0.01), self.window_s + self.interval_s)
        times = np.arange(start, duration_s, self.interval_s)
        return times[rng.random(len(times)) >= self.lost]

    def read(self, signal: NDArray[np.float64], times: NDArray[np.float64], rng: Rng) -> NDArray[np.float64]:
        """Return the values it shows at those times."""
        at = np.minimum((times / STEP_S).astype(int), len(signal) - 1)
        if self.style == "smooth":
            # 8 time constants of an exponential decay, as one weighting window.
            weights = np.exp(-np.arange(int(8 * self.window_s / STEP_S) + 1) * STEP_S / self.window_s)
            value = np.convolve(signal, weights / weights.sum())[: len(signal)][at]
            warm = at < len(weights)
            value[warm] = signal[at[warm]]
        elif self.window_s > 0.0:
            total = np.concatenate([[0.0], np.cumsum(signal)])
            width = max(round(self.window_s / STEP_S), 1)
            first = np.maximum(at + 1 - width, 0)
            value = (total[at + 1] - total[first]) / (at + 1 - first)
        else:
            value = signal[at]
        value = value * self.gain + rng.normal(0.0, self.noise, len(value)) if self.noise else value * self.gain
        shown: NDArray[np.float64] = np.round(value / self.resolution) * self.resolution
        return shown


@dataclass(slots=True)
class Log:
    """A log with its truth."""

    name: str
    channel: Channel
    series: Series
    markers: list[Marker]
    truth: list[Truth]
    meter: Meter
    duration_s: float
    system_v: float = 12.0

    @property
    def visible_s(self) -> float:
        """Timed events longer than this are to be found: one interval and the averaging window."""
        window = 3.0 * self.meter.window_s if self.meter.style == "smooth" else self.meter.window_s
        return self.meter.interval_s + window + 2.0 * self.meter.jitter_s


@dataclass(slots=True)
class Drawing:
    """A signal being drawn, with its truth."""

    rng: Rng
    system: float = 12.0
    parts: list[NDArray[np.float64]] = field(default_factory=list)
    truth: list[Truth] = field(default_factory=list)
    markers: list[tuple[float, str]] = field(default_factory=list)
    now_s: float = 0.0

    def hold(self, level: float, seconds: float) -> tuple[float, float]:
        """Stay at a level; the span of it, s."""
        return self.put(np.full(max(round(seconds / STEP_S), 1), level))

    def ramp(self, start: float, end: float, seconds: float) -> tuple[float, float]:
        """Go from one level to another in a straight line."""
        return self.put(np.linspace(start, end, max(round(seconds / STEP_S), 1)))

    def decay(self, start: float, end: float, tau_s: float, seconds: float) -> tuple[float, float]:
        """Approach a level exponentially."""
        return self.put(end + (start - end) * np.exp(-np.arange(max(round(seconds / STEP_S), 1)) * STEP_S / tau_s))

    def put(self, values: NDArray[np.float64]) -> tuple[float, float]:
        """Append values; the span of them, s."""
        start = self.now_s
        self.parts.append(np.asarray(values, dtype=np.float64))
        self.now_s += len(values) * STEP_S
        return start, self.now_s

    def event(self, kind: str, span: tuple[float, float], level: float | None = None, timed: bool = True) -> None:
        """Write a true event down."""
        self.truth.append(Truth(kind, span[0], span[1], level, timed))

    def mark(self, name: str, lag_s: float = 0.0) -> None:
        """Set a marker now."""
        self.markers.append((self.now_s + lag_s, name))

    def between(self, low: float, high: float) -> float:
        """A uniform number."""
        return float(self.rng.uniform(low, high))

    def duration(self, low: float, high: float) -> float:
        """A number uniform in its logarithm: short ones as often as long ones."""
        return float(np.exp(self.rng.uniform(np.log(low), np.log(high))))

    def idle(self, seconds: float) -> None:
        """Off: nothing, a little offset, or the flicker of an unconnected input."""
        n = max(round(seconds / STEP_S), 1)
        style = self.rng.integers(3)
        if style == 0:
            self.put(np.zeros(n))
        elif style == 1:
            self.put(np.full(n, self.between(0.0, 0.3)))
        else:
            steps = self.rng.uniform(0.0, 1.0, n // 150 + 1)
            self.put(np.repeat(steps, 150)[:n])

    def running(self, seconds: float, level: float) -> float:
        """On and healthy: slow drift, and loads that switch, each less than 4 %; the level it ends at."""
        n = max(round(seconds / STEP_S), 1)
        values = np.full(n, level)
        slow = self.between(-0.03, 0.03) * np.sin(2 * np.pi * (np.arange(n) * STEP_S / self.between(60, 400)))
        values *= 1.0 + slow - slow[0]
        if seconds > 15.0 and self.rng.random() < 0.5:
            begin, length = self.between(5.0, seconds - 8.0), self.between(1.0, 30.0)
            a, b = round(begin / STEP_S), round(min(begin + length, seconds - 6.0) / STEP_S)
            values[a:b] *= 1.0 - self.between(0.01, 0.04)
        self.put(values)
        return float(values[-1])


def log_of(name: str, draw: Callable[[Drawing], None], seed: int, meter: Meter | None = None) -> Log:
    """Draw a scenario and read it with a meter."""
    rng = np.random.default_rng([seed, sum(map(ord, name))])
    drawing = Drawing(rng, system=float(rng.choice([12.0, 12.0, 12.0, 24.0])))
    draw(drawing)
    signal = np.concatenate(drawing.parts)
    ohms = name in OHM_SCENARIOS
    meter = meter or Meter.drawn(rng, drawing.system)
    times = meter.times(len(signal) * STEP_S, rng)
    if ohms:
        meter.window_s, meter.style, meter.gain, meter.noise = 0.0, "sample", 1.0, 0.0
        meter.resolution = 0.1
    value = meter.read(signal, times, rng)
    shown = times + np.abs(rng.normal(0.0, meter.jitter_s, len(times))) if meter.jitter_s else times
    flags = np.zeros(len(times), np.uint16)
    flags[~np.isfinite(value)] |= np.uint16(Flag.OVERLOAD)
    resolution = np.full(len(times), meter.resolution, np.float32)
    series = Series(np.maximum.accumulate(shown), value, resolution, flags)
    quantity = Quantity.RESISTANCE if ohms else Quantity.DC_VOLTAGE
    channel = Channel(1, "feed", quantity, accuracy=Accuracy(0.005, 2))
    markers = [Marker(k, at, what) for k, (at, what) in enumerate(drawing.markers, 1)]
    truth = sorted(drawing.truth, key=lambda event: event.start_s)
    log = Log(name, channel, series, markers, truth, meter, len(signal) * STEP_S, drawing.system)
    return _meddled(log)


def _meddled(log: Log) -> Log:
    """Links that fail and displays that are held, where the scenario asks for it."""
    series, keep = log.series, np.ones(len(log.series), bool)
    for event in log.truth:
        inside = (series.time_s > event.start_s) & (series.time_s < event.end_s)
        if event.kind == "gap":
            keep &= ~inside
        elif event.kind == "held_display":
            series.flags[inside] |= np.uint16(Flag.HOLD)
            if inside.any():
                series.value[inside] = series.value[inside][0]
        elif event.kind == "meter_battery_low":
            series.flags[inside] |= np.uint16(Flag.LOW_BATTERY)
    log.series = Series(series.time_s[keep], series.value[keep], series.resolution[keep], series.flags[keep])
    return log


def prime(d: Drawing) -> None:
    """Key cycles: primes of several lengths, some with a marker, some missing, some read low by pulsed drive."""
    d.idle(d.between(2.0, 6.0))
    level = (
        d.system / 12.0 * (d.between(5.0, 8.5) if d.rng.random() < 0.15 and d.system == 12.0 else d.between(9.0, 13.6))
    )
    marked = d.rng.random() < 0.7
    for _ in range(int(d.rng.integers(1, 5))):
        if marked:
            d.mark("key-on", d.between(-0.3, 0.1))
        if marked and d.rng.random() < 0.25:
            at = d.markers[-1][0]
            d.event("missing_prime", (at, at), timed=False)
            d.idle(d.between(7.0, 12.0))
            continue
        length = d.duration(0.6, 9.5)
        start = d.now_s
        inrush = d.between(0.0, 0.08) * level
        d.put(level - inrush * np.exp(-np.arange(round(length / STEP_S)) * STEP_S / 0.04))
        d.event("prime_pulse", (start, d.now_s), level)
        if d.rng.random() < 0.3:
            d.decay(d.between(0.2, 0.45) * level, 0.0, d.between(0.02, 0.08), 0.3)
        d.idle(d.between(4.0, 12.0))


def broken_prime(d: Drawing) -> None:
    """A prime with one dropout inside."""
    d.idle(d.between(3.0, 6.0))
    level = d.system / 12.0 * d.between(10.0, 13.6)
    first, off, last = d.between(1.1, 3.0), d.duration(0.1, 0.9), d.between(1.1, 3.0)
    start, at = d.hold(level, first)
    off_span = d.hold(d.between(0.0, 0.1), off)
    _, end = d.hold(level, last)
    d.event("prime_pulse", (start, end), level)
    d.event("dropout", off_span)
    assert at == off_span[0]
    d.idle(d.between(5.0, 9.0))


def drive(d: Drawing) -> None:
    """Driving with a feed that fails now and then, and sometimes for good."""
    level = d.system / 12.0 * d.between(12.0, 14.4)
    if d.rng.random() < 0.5:
        d.idle(d.between(2.0, 5.0))
    level = d.running(d.between(15.0, 40.0), level)
    for _ in range(int(d.rng.integers(0, 5))):
        low = d.between(0.0, 0.4) * level if d.rng.random() < 0.4 else 0.0
        d.event("dropout", d.hold(low, d.duration(0.06, 20.0)))
        level = d.running(d.between(SETTLE_S, 40.0), level)
    if d.rng.random() < 0.3:
        start = d.now_s
        d.idle(d.between(32.0, 50.0) if d.rng.random() < 0.5 else d.between(5.0, 20.0))
        d.event("supply_lost", (start, d.now_s), timed=False)


def sags(d: Drawing) -> None:
    """A supply that dips: flat, with soft edges, single and repeated."""
    level = d.system / 12.0 * d.between(11.8, 14.4)
    level = d.running(d.between(12.0, 30.0), level)
    for _ in range(int(d.rng.integers(1, 5))):
        share, length = d.between(0.55, 0.87), d.duration(0.06, 15.0)
        start = d.now_s
        d.hold(share * level, length)
        d.event("sag", (start, d.now_s), share * level)
        level = d.running(d.between(8.0, 30.0), level)


def crank(d: Drawing) -> None:
    """A healthy start: rest, crank with compression ripple, charging."""
    scale = d.system / 12.0
    rest, charge = scale * d.between(12.2, 12.8), scale * d.between(13.7, 14.5)
    d.running(d.between(10.0, 25.0), rest)
    if d.rng.random() < 0.6:
        d.mark("crank")
    start = d.now_s
    steady, length = rest * d.between(0.72, 0.84), d.duration(0.5, 4.0)
    d.ramp(rest, rest * d.between(0.55, 0.65), 0.005)
    d.hold(rest * d.between(0.55, 0.65), d.between(0.01, 0.04))
    n = round(length / STEP_S)
    d.put(steady * (1.0 + 0.02 * np.sin(2 * np.pi * d.between(6.0, 12.0) * np.arange(n) * STEP_S)))
    d.event("sag", (start, d.now_s), None)
    d.decay(rest * 0.97, charge, d.between(0.3, 1.5), 8.0)
    d.running(d.between(15.0, 40.0), charge)


def overvoltage(d: Drawing) -> None:
    """A regulator that fails now and then."""
    scale = d.system / 12.0
    level = scale * d.between(13.6, 14.4)
    level = d.running(d.between(8.0, 20.0), level)
    for _ in range(int(d.rng.integers(1, 4))):
        level = min(level, 14.4 * scale)
        high = scale * d.between(15.3, 17.0)
        d.event("overvoltage", d.hold(high, d.duration(0.1, 20.0)), high)
        level = d.running(d.between(6.0, 20.0), level)


def chatter(d: Drawing) -> None:
    """A relay that chatters while it should hold."""
    level = d.system / 12.0 * d.between(11.5, 14.0)
    if d.rng.random() < 0.5:
        d.idle(3.0)
    d.running(d.between(12.0, 25.0), level)
    start = d.now_s
    toggles = int(d.rng.integers(2, 8))
    slow = d.between(0.5, 0.9)
    for k in range(toggles):
        d.hold(0.0, slow * d.between(0.8, 1.05))
        if k < toggles - 1:
            d.hold(level, slow * d.between(0.8, 1.05))
    d.event("chatter", (start, d.now_s))
    d.running(d.between(8.0, 20.0), level)


def link(d: Drawing) -> None:
    """A healthy supply, on or off, over a link that fails."""
    on = d.rng.random() < 0.6
    level = d.system / 12.0 * d.between(12.0, 14.2)
    for k in range(int(d.rng.integers(1, 4)) + 1):
        if k:
            start = d.now_s
            (d.running(d.between(3.0, 40.0), level) if on else d.idle(d.between(3.0, 40.0)))
            d.event("gap", (start, d.now_s))
        d.running(d.between(12.0, 30.0), level) if on else d.idle(d.between(12.0, 30.0))


def display(d: Drawing) -> None:
    """A meter held by accident, or whose battery goes."""
    level = d.running(d.between(12.0, 20.0), d.system / 12.0 * d.between(12.0, 14.2))
    kind = "held_display" if d.rng.random() < 0.5 else "meter_battery_low"
    start = d.now_s
    level = d.running(d.between(3.0, 20.0), level)
    d.event(kind, (start, d.now_s))
    d.running(d.between(8.0, 20.0), level)


def ohms_open(d: Drawing) -> None:
    """A wiggle test: the circuit opens now and then."""
    d.hold(np.inf, d.between(1.0, 4.0))
    level = d.between(0.5, 80.0)
    d.hold(level, d.between(6.0, 15.0))
    for _ in range(int(d.rng.integers(1, 4))):
        d.event("open_circuit", d.hold(np.inf, d.duration(0.1, 10.0)))
        d.hold(level, d.between(6.0, 15.0))


def ohms_step(d: Drawing) -> None:
    """A wiggle test: a resistance that changes for good."""
    level = d.between(1.0, 80.0)
    d.hold(level, d.between(8.0, 15.0))
    for _ in range(int(d.rng.integers(1, 4))):
        old, level = level, level * d.between(1.35, 4.0) ** float(d.rng.choice([-1.0, 1.0]))
        level = min(max(level, 1.0), 400.0)
        if abs(level - old) > 0.2 * old:
            d.event("resistance_step", (d.now_s, d.now_s), level, timed=False)
        d.hold(level, d.between(8.0, 15.0))


def healthy(d: Drawing) -> None:
    """Minutes of nothing wrong: rest, charging, loads, slow drift, charging that stops; or an idle input."""
    scale = d.system / 12.0
    if d.rng.random() < 0.2:
        for _ in range(5):
            d.idle(d.between(60.0, 120.0))
        return
    rest, charge = scale * d.between(12.3, 12.8), scale * d.between(13.6, 14.6)
    level = rest
    if d.rng.random() < 0.5:
        d.running(d.between(20.0, 60.0), rest)
        d.decay(rest, charge, d.between(0.5, 4.0), 20.0)
        level = charge
    for _ in range(int(d.rng.integers(3, 7))):
        d.running(d.between(20.0, 90.0), level)
        load = level * (1.0 - d.between(0.01, 0.08))
        d.ramp(level, load, d.between(0.001, 0.5))
        d.hold(load, d.between(2.0, 60.0))
        d.ramp(load, level, d.between(0.001, 2.0))
    if level == charge:
        d.running(30.0, level)
        d.decay(charge, rest, d.between(0.2, 10.0), 60.0)
        d.running(d.between(10.0, 60.0), rest)


SCENARIOS: dict[str, Callable[[Drawing], None]] = {
    "prime": prime,
    "broken prime": broken_prime,
    "drive": drive,
    "sags": sags,
    "crank": crank,
    "overvoltage": overvoltage,
    "chatter": chatter,
    "link": link,
    "display": display,
    "ohms open": ohms_open,
    "ohms step": ohms_step,
    "healthy": healthy,
}
OHM_SCENARIOS = ("ohms open", "ohms step")
