"""Real starts: a step down, ripple, recovery, and charging that begins seconds later, sometimes never."""

from __future__ import annotations

import numpy as np

from tests.bench.detection_world.families.family import family
from tests.bench.detection_world.meter import Meter
from tests.bench.detection_world.scene import Scene
from tests.bench.detection_world.trace import Trace

CHARGING_MEDIAN_S = 3.4
"""Median time from the end of the dip to charging, on real starts of one car, s."""
CHARGING_S = (1.5, 18.0)
"""Shortest and longest of them, s."""
STARTER = r"\bcrank|\bstarter|\bstarting"
"""Says how a sentence names a start."""
PLAIN_DIP = 0.88
"""A reading below this share of the rest level is a sag beyond doubt (below 90 % by definition)."""


def crank(feed: Trace, rest: float, low: float, seconds: float) -> tuple[float, float]:
    """Draw the starter: an inrush to the lowest value, then compressions that ripple around a plateau above it.

    Returns:
        The longest time that it is below 90 % of the rest level without a break, which is what a sag is by definition.
    """
    start = feed.now_s
    feed.ramp(rest, low, 0.01)
    feed.hold(low, feed.between(0.03, 0.08))
    plateau = low + (rest - low) * feed.between(0.2, 0.45)
    n = feed.steps(seconds)
    pace = feed.between(6.0, 14.0)
    ripple = (rest - low) * feed.between(0.05, 0.15) * np.sin(2.0 * np.pi * pace * np.arange(n) * feed.step_s)
    feed.put(plateau + ripple + np.linspace(0.0, 0.06 * (rest - low), n))
    feed.ramp(plateau, rest, feed.between(0.05, 0.3))
    below = np.append(feed.values[round(start / feed.step_s) :] < 0.9 * rest, False)
    changes = np.flatnonzero(np.diff(below, prepend=False)).reshape(-1, 2)
    first, last = changes[np.argmax(changes[:, 1] - changes[:, 0])]
    return start + float(first) * feed.step_s, start + float(last) * feed.step_s


def start_once(scene: Scene, feed: Trace, *, charges: bool, seconds: float) -> None:
    """Draw rest, the key, the starter and what follows."""
    rest = feed.between(12.0, 12.7)
    feed.hold(rest + 0.2, feed.between(5.0, 20.0))
    feed.hold(rest, feed.between(1.0, 6.0))
    span = crank(feed, rest, feed.between(7.0, 10.5), seconds)
    feed.event("sag", span, timed=False, below=PLAIN_DIP * rest, called=STARTER)
    wait = float(np.clip(CHARGING_MEDIAN_S * np.exp(scene.rng.normal(0.0, 0.7)), *CHARGING_S))
    feed.hold(rest, wait)
    if charges:
        charge = feed.between(13.6, 14.5)
        feed.decay(rest, charge, feed.between(0.3, 1.5), 6.0)
        feed.hold(charge, feed.between(20.0, 60.0))
    else:
        feed.hold(rest, feed.between(20.0, 40.0))


def start_meter(scene: Scene) -> Meter:
    """Draw the meter of those logs: two readings a second."""
    return Meter.drawn(scene.rng).but(display_s=0.5, window_s=float(scene.rng.choice([0.1, 0.25, 0.4])), lost=0.0)


@family("start, away from the battery")
def start_feed(scene: Scene) -> None:
    """One start seen at a feed, with charging after it: named cranking, never 'outside'."""
    scene.healthy = True
    feed = scene.wire(str(scene.rng.choice(["ignition feed", "pump feed", "supply at the fuse"])), start_meter(scene))
    start_once(scene, feed, charges=True, seconds=feed.length(0.5, 2.5))


@family("start that never charges")
def start_no_charge(scene: Scene) -> None:
    """The same with an alternator that does not take over in the time recorded."""
    scene.healthy = True
    feed = scene.wire("ignition feed", start_meter(scene))
    start_once(scene, feed, charges=False, seconds=feed.length(0.5, 2.5))


@family("aborted start, then a start")
def aborted(scene: Scene) -> None:
    """Half a second of starter, a pause, and a start that works."""
    scene.healthy = True
    feed = scene.wire("ignition feed", start_meter(scene))
    rest = feed.between(12.1, 12.6)
    feed.hold(rest, feed.between(8.0, 20.0))
    span = crank(feed, rest, feed.between(8.0, 10.0), feed.between(0.6, 1.2))
    feed.event("sag", span, timed=False, below=PLAIN_DIP * rest, called=STARTER)
    start_once(scene, feed, charges=True, seconds=feed.length(0.6, 2.0))


@family("restarts")
def restarts(scene: Scene) -> None:
    """Started, stopped, and started again."""
    scene.healthy = True
    feed = scene.wire("ignition feed", start_meter(scene))
    for _ in range(2):
        start_once(scene, feed, charges=True, seconds=feed.length(0.6, 2.0))
        feed.decay(14.0, 12.5, 2.0, 20.0)


@family("start at the battery post")
def start_battery(scene: Scene) -> None:
    """A warm engine and a good battery: lowest at 9.9 V and more, above the floor."""
    scene.healthy = True
    scene.details["temperature_c"] = "20"
    battery = scene.wire("battery", start_meter(scene))
    rest = battery.between(12.4, 12.7)
    battery.hold(rest, battery.between(8.0, 20.0))
    span = crank(battery, rest, battery.between(9.9, 10.3), battery.length(0.6, 2.0))
    battery.event("sag", span, timed=False, below=PLAIN_DIP * rest, called=STARTER)
    battery.hold(rest, battery.between(1.5, 8.0))
    battery.decay(rest, 14.2, 1.0, 6.0)
    battery.hold(14.2, battery.between(20.0, 60.0))


@family("start, battery and feed recorded")
def start_both(scene: Scene) -> None:
    """Battery and feed dip together: each channel tells what the other's dip is."""
    scene.healthy = True
    scene.details["temperature_c"] = "20"
    battery = scene.wire("battery", start_meter(scene))
    feed = scene.wire("ignition feed", start_meter(scene))
    rest = battery.between(12.4, 12.7)
    for trace in (battery, feed):
        trace.hold(rest, 12.0)
    span = crank(battery, rest, battery.between(9.9, 10.3), battery.length(0.8, 2.0))
    battery.event("sag", span, timed=False, below=PLAIN_DIP * rest, called=STARTER)
    feed.put(battery.values[feed.steps(feed.now_s) :] - feed.between(0.1, 0.4))
    feed.event("sag", span, timed=False, below=PLAIN_DIP * rest, called=STARTER)
    wait, charge = battery.between(1.5, 8.0), battery.between(13.8, 14.4)
    for trace in (battery, feed):
        trace.hold(rest, wait)
        trace.decay(rest, charge, 1.0, 6.0)
        trace.hold(charge, 30.0)


@family("start, 24 V")
def start_24(scene: Scene) -> None:
    """A truck's start at its ignition feed."""
    scene.healthy = True
    scene.details["system_v"] = "24"
    feed = scene.wire("ignition feed", start_meter(scene), scale=24.0)
    rest = feed.between(24.6, 25.4)
    feed.hold(rest, feed.between(8.0, 20.0))
    span = crank(feed, rest, feed.between(15.0, 19.0), feed.length(0.6, 2.5))
    feed.event("sag", span, timed=False, below=PLAIN_DIP * rest, called=STARTER)
    feed.hold(rest, feed.between(1.5, 12.0))
    feed.decay(rest, 28.2, 1.0, 6.0)
    feed.hold(28.2, feed.between(20.0, 60.0))


@family("weak start at the battery post")
def weak_start(scene: Scene) -> None:
    """Two seconds and more of starter at 7 to 9 V, warm: below any floor, at the one place where it is judged."""
    scene.faulty, scene.certain_fault = True, True
    scene.details["temperature_c"] = "20"
    battery = scene.wire("battery", start_meter(scene))
    rest = battery.between(12.1, 12.4)
    battery.hold(rest, battery.between(8.0, 20.0))
    scene.mark(battery.now_s, "crank")
    span = crank(battery, rest, battery.between(5.8, 6.2), battery.between(2.0, 4.0))
    battery.event("sag", span, timed=False, below=PLAIN_DIP * rest, called=STARTER)
    battery.hold(rest, battery.between(1.5, 8.0))
    battery.decay(rest, 14.2, 1.0, 6.0)
    battery.hold(14.2, battery.between(20.0, 60.0))
