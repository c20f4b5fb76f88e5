"""Plants a fault in random logs: longer than the stated blind time, it never leaves 'within: nothing seen'."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from tests.bench.detection_world.families.starts import STARTER
from tests.bench.detection_world.meter import Meter, Shown
from tests.bench.detection_world.scene import Scene, outside, without
from tests.bench.detection_world.trace import Trace


def planted(seed: int) -> Scene:
    """Draw a log with one fault, mostly a fall of a supply, read by some meter over some link."""
    rng = np.random.default_rng([seed, *b"planted"])
    scene = Scene(rng)
    kind = str(rng.choice(["dropout", "sag", "overvoltage", "interruption", "open_circuit"], p=SHARES))
    trace, level, wrong = _circuit(scene, kind)
    trace.steady(level, trace.between(15.0, 60.0), drift=0.005)
    span = trace.hold(wrong, trace.length(0.2, 15.0))
    # A sag from the rest level may be a start that did not catch; an engine that charges is not cranked.
    trace.event(kind, span, called=STARTER if kind == "sag" and level < RESTS_BELOW_V else "")
    trace.steady(level, trace.between(15.0, 60.0), drift=0.005)
    wire = scene.wires[0]
    if rng.random() < 0.25 and kind in ("dropout", "sag"):
        # Only a meter whose last digits flicker can be seen to stand still.
        wire.meter = wire.meter.but(noise=0.03, poll_s=None, bundle=1)
        wire.meddle = _freezing(rng, wire.meter, span)
    else:
        wire.meddle = _losing(rng, trace.now_s, span)
    return scene


RESTS_BELOW_V = 13.2
"""A 12 V supply that stands higher is charged."""
SHARES = (0.3, 0.3, 0.15, 0.15, 0.1)
"""Says how often each kind is planted."""


def _circuit(scene: Scene, kind: str) -> tuple[Trace, float, float]:
    """Add a channel for a kind of fault: its trace, its level, and what it is while the fault lasts."""
    rng = scene.rng
    if kind == "interruption":
        level = rng.uniform(3.0, 8.0)
        meter = _meter(rng).but(lowest_range=6.0)
        return scene.wire("pump current", meter, quantity="dc_current", unit="A"), level, 0.0
    if kind == "open_circuit":
        meter = _meter(rng).but(noise=0.0, resolution=0.1, lowest_range=600.0)
        return scene.wire("feed wire", meter, quantity="resistance", unit="ohm"), rng.uniform(1.0, 60.0), np.inf
    level = rng.uniform(12.1, 14.4)
    wrong = {
        "dropout": rng.uniform(0.0, 0.45) * level,
        "sag": rng.uniform(0.55, 0.85) * level,
        "overvoltage": rng.uniform(15.5, 25.0),
    }
    return scene.wire(str(rng.choice(["pump feed", "ignition feed", "battery"])), _meter(rng)), level, wrong[kind]


def _meter(rng: np.random.Generator) -> Meter:
    meter = Meter.drawn(rng)
    way = rng.integers(7)
    if way == 0:
        return meter.but(bundle=int(rng.integers(2, 9)))
    if way == 1:
        return meter.but(poll_s=meter.display_s / rng.uniform(2.0, 8.0))
    if way == 2:
        return meter.but(poll_s=meter.display_s * rng.uniform(1.5, 8.0))
    if way == 3:
        return meter.but(stamp_s=1.0)
    if way == 4:
        return meter.but(autorange=True, ranging_s=float(rng.uniform(0.3, 1.5)), overload_first=bool(rng.integers(2)))
    return meter.but(lost=float(rng.choice([0.0, 0.05, 0.3])))


def _losing(rng: np.random.Generator, end_s: float, fall: tuple[float, float]) -> Callable[[Shown], Shown] | None:
    """Lose a stretch, anywhere or just where the fall is, or most of the readings; or nothing."""
    way = rng.integers(3)
    start = rng.uniform(0.0, end_s) if rng.random() < 0.5 else fall[0] - rng.uniform(-1.0, 2.0)
    end = start + rng.uniform(0.5, 20.0)
    if way == 0:
        return without(start, end)
    if way == 1:
        return lambda shown: shown.only(rng.random(len(shown.true_s)) < 0.2)
    return None


def _freezing(rng: np.random.Generator, meter: Meter, fall: tuple[float, float]) -> Callable[[Shown], Shown]:
    """Freeze the display over some of the fall, for 30 to 90 looks."""
    start = fall[0] - rng.uniform(0.0, 25.0) * meter.display_s
    end = start + rng.uniform(30.0, 90.0) * meter.display_s

    def freeze(shown: Shown) -> Shown:
        stuck = ~outside(shown.true_s, start, end)
        shown.value[stuck] = shown.value[stuck][0]
        return shown

    return freeze
