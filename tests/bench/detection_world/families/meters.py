"""Meters whose readings are not the circuit: ranging, frozen, held, repeated, bundled, reversed."""

from __future__ import annotations

import numpy as np

from tests.bench.detection_world.families.family import family
from tests.bench.detection_world.families.supplies import REST_S, level_of
from tests.bench.detection_world.meter import Meter, Shown
from tests.bench.detection_world.scene import Scene, outside
from tests.bench.detection_world.trace import Trace


def failing(scene: Scene, feed: Trace, shortest_s: float, longest_s: float) -> None:
    """Draw a feed that drops out three times."""
    scene.faulty = True
    level = level_of(feed)
    feed.steady(level, feed.between(15.0, 30.0))
    for _ in range(3):
        feed.event("dropout", feed.hold(feed.between(0.0, 0.3) * level, feed.length(shortest_s, longest_s)))
        feed.steady(level, feed.between(REST_S, 25.0))


@family("bundled arrivals")
def bundled(scene: Scene) -> None:
    """Four to eight readings arrive together under one time."""
    meter = Meter.drawn(scene.rng).but(bundle=int(scene.rng.integers(4, 9)), lost=0.0)
    bundle_s = meter.bundle * meter.display_s
    failing(scene, scene.wire("pump feed", meter), max(1.5 * bundle_s, 1.0), max(4.0 * bundle_s, 12.0))


@family("display polled faster")
def stale(scene: Scene) -> None:
    """A display of two to three looks a second, asked ten times and more: most readings repeat it."""
    meter = Meter.drawn(scene.rng).but(display_s=scene.rng.uniform(0.3, 0.5), noise=0.02, lost=0.0)
    meter = meter.but(poll_s=meter.display_s / scene.rng.uniform(3.0, 8.0), window_s=0.2)
    failing(scene, scene.wire("pump feed", meter), 0.8, 15.0)


@family("display polled faster, still digits")
def stale_still(scene: Scene) -> None:
    """The same without a flicker of the last digit: nothing but the edges tells the display's own cadence."""
    meter = Meter.drawn(scene.rng).but(display_s=0.4, noise=0.0, lost=0.0, window_s=0.2, poll_s=0.1)
    failing(scene, scene.wire("pump feed", meter), 1.0, 15.0)


@family("display polled slower")
def sampled(scene: Scene) -> None:
    """A display that is asked every one to three seconds."""
    meter = Meter.drawn(scene.rng).but(display_s=0.3, window_s=0.2, poll_s=scene.rng.uniform(1.0, 3.0), lost=0.0)
    failing(scene, scene.wire("pump feed", meter), 4.0, 20.0)


@family("frozen display")
def frozen(scene: Scene) -> None:
    """Sixty seconds identical to the last digit, from a meter whose noise was seen; a fall inside is not shown."""
    meter = Meter.drawn(scene.rng).but(noise=0.03, lost=0.0)
    feed = scene.wire("pump feed", meter)
    level = level_of(feed)
    feed.steady(level, feed.between(40.0, 80.0))
    start = feed.now_s
    feed.steady(level, 25.0)
    if feed.chance(0.5):
        feed.event("dropout", feed.hold(0.0, feed.between(2.0, 9.0)))
    feed.steady(level, 60.0 + start - feed.now_s)
    end = feed.now_s
    feed.steady(level, feed.between(30.0, 60.0))

    def freeze(shown: Shown) -> Shown:
        stuck = ~outside(shown.true_s, start, end)
        shown.value[stuck] = shown.value[stuck][0]
        shown.true_s[stuck] = shown.true_s[stuck][0]  # looks that were never taken
        return shown

    scene.wires[0].meddle = freeze
    scene.wires[0].unwatched_s = end - start
    scene.neutral = ("held_display",)
    scene.must_say.append("identical|frozen|froze|stuck|stood still|repeat|same (value|reading)|held")


@family("held display")
def held(scene: Scene) -> None:
    """A person presses HOLD, which the meter says."""
    scene.healthy, scene.recorded = True, True
    feed = scene.wire("pump feed")
    level = level_of(feed)
    feed.steady(level, feed.between(15.0, 30.0))
    start, end = feed.steady(level, feed.between(5.0, 25.0))
    feed.event("held_display", (start, end), timed=False, certain=True)
    feed.steady(level, feed.between(15.0, 30.0))

    def hold(shown: Shown) -> Shown:
        stuck = ~outside(shown.true_s, start, end)
        shown.held[stuck] = 1.0
        shown.value[stuck] = shown.value[stuck][0]
        return shown

    scene.wires[0].meddle = hold
    scene.wires[0].unwatched_s = end - start


@family("meter battery low")
def low_battery(scene: Scene) -> None:
    """The meter says that its own battery is low."""
    scene.healthy, scene.recorded = True, True
    feed = scene.wire("pump feed")
    level = level_of(feed)
    feed.steady(level, feed.between(15.0, 60.0))
    start, end = feed.steady(level, feed.between(10.0, 60.0))
    feed.event("meter_battery_low", (start, end), timed=False, certain=True)

    def lower(shown: Shown) -> Shown:
        shown.low[~outside(shown.true_s, start, np.inf)] = 1.0
        return shown

    scene.wires[0].meddle = lower


def autoranging(scene: Scene, *, overload_first: bool) -> Trace:
    """Add a feed seen by a meter that looks for its range at each edge."""
    meter = Meter.drawn(scene.rng).but(
        display_s=scene.rng.uniform(0.2, 0.4),
        autorange=True,
        ranging_s=float(scene.rng.uniform(0.5, 1.3)),
        overload_first=overload_first,
        noise=0.0,
        lost=0.0,
    )
    scene.must_not_say.append("link to the meter")
    scene.neutral = ("gap",)
    return scene.wire("pump feed", meter)


def ranged_primes(scene: Scene, feed: Trace) -> None:
    """Draw primes that are longer than what a change of range hides."""
    scene.healthy = True
    feed.hold(feed.between(0.0, 0.02), feed.between(6.0, 10.0))
    for _ in range(int(scene.rng.integers(1, 4))):
        scene.mark(feed.now_s, "key-on")
        feed.hold(0.01, feed.between(0.05, 0.3))
        feed.event("prime_pulse", feed.hold(feed.between(11.8, 12.4), feed.between(2.2, 5.0)))
        feed.hold(0.01, feed.between(8.0, 14.0))


@family("autorange at the edges")
def autorange(scene: Scene) -> None:
    """Idle in the millivolt range: both edges of a prime lie in a pause while the meter ranges."""
    ranged_primes(scene, autoranging(scene, overload_first=False))


@family("autorange, overload first")
def autorange_overload(scene: Scene) -> None:
    """The same, with overload for one reading while ranging up: neither open circuit nor overvoltage."""
    ranged_primes(scene, autoranging(scene, overload_first=True))


@family("autorange, dropouts")
def autorange_dropouts(scene: Scene) -> None:
    """A feed that drops out under a meter that ranges down and up again."""
    failing(scene, autoranging(scene, overload_first=False), 2.5, 15.0)


@family("reversed leads")
def reversed_leads(scene: Scene) -> None:
    """Red on ground: minus 12.4 V at a feed is a word about the leads, and no fault."""
    scene.healthy = True
    feed = scene.wire("pump feed")
    feed.steady(-level_of(feed), feed.between(30.0, 90.0))
    scene.must_say.append("revers|cross|polarity|swap|wrong way|exchanged")
