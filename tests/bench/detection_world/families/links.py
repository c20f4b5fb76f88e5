"""Logs whose times are not a plain cadence: lost links, two rates, irregular, whole seconds."""

from __future__ import annotations

import numpy as np

from tests.bench.detection_world.families.family import family
from tests.bench.detection_world.families.meters import failing
from tests.bench.detection_world.families.supplies import level_of
from tests.bench.detection_world.meter import Meter, Shown
from tests.bench.detection_world.scene import Scene, outside


@family("readings missing")
def missing(scene: Scene) -> None:
    """A steady cadence with holes of seconds."""
    scene.healthy = True
    feed = scene.wire("pump feed")
    level = level_of(feed)
    holes = []
    feed.steady(level, feed.between(15.0, 30.0))
    for _ in range(2):
        holes.append(feed.steady(level, feed.between(4.0, 40.0)))
        feed.event("gap", holes[-1], certain=True)
        feed.steady(level, feed.between(15.0, 30.0))

    def lose(shown: Shown) -> Shown:
        for start, end in holes:
            shown = shown.only(outside(shown.true_s, start, end))
        return shown

    scene.wires[0].meddle = lose
    scene.wires[0].unwatched_s = sum(end - start for start, end in holes)


@family("two rates")
def two_rates(scene: Scene) -> None:
    """A logger that writes every minute, and twice a second where something goes on: nothing is missing."""
    scene.faulty = True
    meter = Meter.drawn(scene.rng).but(display_s=0.5, window_s=0.1, lost=0.0)
    feed = scene.wire("pump feed", meter, step_s=0.01)
    level = level_of(feed)
    fast = []
    for _ in range(6):
        feed.steady(level, feed.between(600.0, 2400.0), drift=0.005)
        start = feed.now_s
        feed.hold(level, feed.between(20.0, 40.0))
        feed.event("dropout", feed.hold(0.0, feed.length(1.0, 20.0)))
        feed.hold(level, feed.between(20.0, 40.0))
        fast.append((start, feed.now_s))
    feed.hold(level, 600.0)

    def thin(shown: Shown) -> Shown:
        slow = np.arange(len(shown.true_s)) % 120 == 0
        inside = np.any([~outside(shown.true_s, *span) for span in fast], axis=0)
        return shown.only(slow | inside)

    scene.wires[0].meddle = thin
    scene.must_not_say.append("link to the meter")


@family("irregular times")
def irregular(scene: Scene) -> None:
    """Readings as a person or a busy program takes them, 0.1 to some seconds apart.

    A wait of more than four usual ones is a gap by the kind's fixed definition and may be listed; of a link it is none.
    """
    scene.neutral = ("gap",)
    meter = Meter.drawn(scene.rng).but(display_s=0.1, window_s=0.05, lost=0.0)
    failing(scene, scene.wire("pump feed", meter), 6.0, 20.0)
    scene.wires[0].meddle = lambda shown: shown.only(scene.rng.random(len(shown.true_s)) < 0.15)
    scene.must_not_say.append("link to the meter")


@family("whole seconds")
def whole_seconds(scene: Scene) -> None:
    """Two to three readings a second under stamps of whole seconds."""
    meter = Meter.drawn(scene.rng).but(display_s=scene.rng.uniform(0.33, 0.5), stamp_s=1.0)
    failing(scene, scene.wire("pump feed", meter), 2.5, 20.0)


@family("whole seconds, healthy")
def whole_seconds_healthy(scene: Scene) -> None:
    """The same of a sound supply."""
    scene.healthy = True
    meter = Meter.drawn(scene.rng).but(display_s=scene.rng.uniform(0.33, 0.5), stamp_s=1.0)
    feed = scene.wire("pump feed", meter)
    feed.steady(level_of(feed), feed.between(120.0, 400.0))
