"""Resistance: openings, steps, and a meter that looks for its range."""

from __future__ import annotations

import numpy as np

from tests.bench.detection_world.families.family import family
from tests.bench.detection_world.meter import Meter
from tests.bench.detection_world.scene import Scene
from tests.bench.detection_world.trace import Trace


def ohms(scene: Scene, meter: Meter | None = None) -> Trace:
    """Add an ohmmeter at a feed that is switched off."""
    meter = meter or Meter.drawn(scene.rng, 1.0, 0.1).but(window_s=0.0, noise=0.0)
    return scene.wire("feed, harness side", meter, quantity="resistance", unit="ohm")


@family("openings")
def openings(scene: Scene) -> None:
    """A wiggle test: the circuit opens now and then."""
    scene.faulty = True
    wire = ohms(scene)
    level = wire.between(0.5, 80.0)
    wire.hold(np.inf, wire.between(1.0, 4.0))
    wire.hold(level, wire.between(8.0, 15.0))
    for _ in range(int(scene.rng.integers(2, 5))):
        scene.mark(wire.now_s - 0.3, "wiggle")
        wire.event("open_circuit", wire.hold(np.inf, wire.length(0.3, 10.0)))
        wire.hold(level, wire.between(8.0, 15.0))


@family("steps of resistance")
def steps(scene: Scene) -> None:
    """A wiggle test: the resistance changes for good."""
    scene.faulty = True
    wire = ohms(scene)
    level = wire.between(3.0, 80.0)
    wire.hold(level, wire.between(10.0, 15.0))
    for _ in range(2):
        level *= wire.between(1.6, 3.5)
        wire.event("resistance_step", (wire.now_s, wire.now_s), timed=False, certain=True)
        wire.hold(level, wire.between(10.0, 15.0))


@family("overload while ranging, ohms")
def ranging_ohms(scene: Scene) -> None:
    """A step over the end of a range: overload once, which is no opening."""
    meter = Meter.drawn(scene.rng, 1.0).but(
        window_s=0.0, noise=0.0, autorange=True, lowest_range=600.0, ranging_s=0.6, overload_first=True, lost=0.0
    )
    wire = ohms(scene, meter)
    wire.hold(wire.between(100.0, 400.0), wire.between(12.0, 20.0))
    wire.event("resistance_step", (wire.now_s, wire.now_s + 0.6), timed=False, certain=True)
    wire.hold(wire.between(900.0, 4000.0), wire.between(12.0, 20.0))


@family("steady resistance")
def steady(scene: Scene) -> None:
    """A wiggle test of a sound wire."""
    scene.healthy = True
    wire = ohms(scene)
    wire.hold(np.inf, wire.between(1.0, 4.0))
    wire.hold(wire.between(0.5, 80.0), wire.between(60.0, 120.0))
