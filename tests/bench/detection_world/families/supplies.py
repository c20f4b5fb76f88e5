"""Supplies that prime, drop out, sag, chatter or are lost: faults that a voltmeter at the feed sees."""

from __future__ import annotations

from math import log

from tests.bench.detection_world.families.family import family
from tests.bench.detection_world.families.starts import STARTER
from tests.bench.detection_world.meter import Meter
from tests.bench.detection_world.scene import Scene
from tests.bench.detection_world.trace import Trace

REST_S = 7.0
"""Calm time between two events, s: they are to be told apart."""


def level_of(trace: Trace, scale: float = 1.0) -> float:
    """A supply's level at rest or charging, V."""
    return scale * (trace.between(12.0, 12.7) if trace.chance(0.5) else trace.between(13.6, 14.4))


def primes(scene: Scene, feed: Trace, scale: float = 1.0) -> None:
    """Draw key-ons, each with its prime."""
    level = scale * feed.between(11.6, 12.4)
    feed.hold(0.0, feed.between(4.0, 8.0))
    for _ in range(int(scene.rng.integers(1, 4))):
        scene.mark(feed.now_s, "key-on")
        feed.hold(0.0, feed.between(0.05, 0.4))
        start, _ = feed.steady(level, feed.between(1.2, 5.0), drift=0.003)
        feed.event("prime_pulse", (start, feed.spin_down(level, feed.between(8.0, 15.0))))


@family("prime")
def prime(scene: Scene) -> None:
    """A pump is fed for some seconds at each key-on."""
    scene.healthy = True
    primes(scene, scene.wire("pump feed"))


@family("prime, 24 V")
def prime_24(scene: Scene) -> None:
    """The same on a truck."""
    scene.healthy = True
    scene.details["system_v"] = "24"
    primes(scene, scene.wire("pump feed", scale=24.0), 2.0)


@family("broken prime")
def broken_prime(scene: Scene) -> None:
    """A prime with a dropout inside."""
    scene.faulty = True
    feed = scene.wire("pump feed")
    level = feed.between(11.6, 12.4)
    feed.hold(0.0, 5.0)
    scene.mark(feed.now_s, "key-on")
    start, _ = feed.hold(level, feed.between(1.5, 2.5))
    feed.event("dropout", feed.hold(0.0, feed.between(0.25, 0.8)))
    _, end = feed.hold(level, feed.between(1.5, 2.5))
    feed.event("prime_pulse", (start, end))
    feed.floating(feed.between(8.0, 12.0))


@family("missing prime")
def missing_prime(scene: Scene) -> None:
    """Key-ons of which some prime and some do not."""
    scene.faulty = True
    feed = scene.wire("pump feed")
    level = feed.between(11.6, 12.4)
    feed.hold(0.0, 5.0)
    missing = int(scene.rng.integers(0, 3))
    for k in range(3):
        scene.mark(feed.now_s, "key-on")
        if k == missing:
            at = feed.now_s
            feed.event("missing_prime", (at, at), timed=False, certain=True)
            feed.floating(feed.between(10.0, 14.0))
        else:
            feed.hold(0.0, 0.2)
            feed.event("prime_pulse", feed.hold(level, feed.between(1.5, 3.0)))
            feed.floating(feed.between(8.0, 12.0))


@family("dropouts while driving")
def drive(scene: Scene) -> None:
    """A feed that fails now and then."""
    scene.faulty = True
    feed = scene.wire("pump feed")
    level = level_of(feed)
    feed.steady(level, feed.between(15.0, 40.0))
    for _ in range(int(scene.rng.integers(2, 5))):
        feed.event("dropout", feed.hold(feed.between(0.0, 0.35) * level, feed.length(0.3, 20.0)))
        feed.steady(level, feed.between(REST_S, 30.0))


@family("dropouts, 24 V")
def drive_24(scene: Scene) -> None:
    """The same on a truck."""
    scene.faulty = True
    feed = scene.wire("pump feed", scale=24.0)
    level = level_of(feed, 2.0)
    feed.steady(level, feed.between(15.0, 40.0))
    for _ in range(3):
        feed.event("dropout", feed.hold(0.0, feed.length(0.3, 20.0)))
        feed.steady(level, feed.between(REST_S, 30.0))


@family("supply lost")
def supply_lost(scene: Scene) -> None:
    """A feed that goes off for good."""
    scene.faulty = True
    feed = scene.wire("pump feed")
    level = level_of(feed)
    feed.steady(level, feed.between(20.0, 60.0))
    start = feed.now_s
    feed.floating(feed.between(5.0, 20.0) if feed.chance(0.5) else feed.between(40.0, 90.0), level)
    feed.event("supply_lost", (start, feed.now_s), timed=False)


@family("sags")
def sags(scene: Scene) -> None:
    """A feed with a resistance in it, under loads that come and go."""
    scene.faulty = True
    feed = scene.wire("pump feed")
    level = level_of(feed)
    if level > 13.0:
        scene.must_not_say.append(STARTER)  # an engine that charges is not cranked
    feed.steady(level, feed.between(12.0, 30.0))
    for _ in range(int(scene.rng.integers(2, 5))):
        feed.event("sag", feed.hold(feed.between(0.55, 0.86) * level, feed.length(0.3, 15.0)))
        feed.steady(level, feed.between(REST_S, 30.0))


@family("sags near the threshold")
def sags_near(scene: Scene) -> None:
    """Noise of 0.4 %: a fall to 86 % is a sag, one to 93.5 % is none."""
    feed = scene.wire("pump feed", Meter.drawn(scene.rng).but(noise=0.05))
    level = level_of(feed)
    feed.hold(level, feed.between(15.0, 25.0))
    for _ in range(6):
        if feed.chance(0.5):
            feed.event("sag", feed.hold(feed.between(0.85, 0.87) * level, feed.length(1.0, 12.0)))
        else:
            feed.hold(feed.between(0.93, 0.945) * level, feed.length(1.0, 12.0))
        feed.hold(level, feed.between(REST_S, 15.0))


@family("chatter")
def chatter(scene: Scene) -> None:
    """A relay that chatters while it should hold."""
    scene.faulty = True
    feed = scene.wire("pump feed", Meter.drawn(scene.rng).but(display_s=0.15, window_s=0.05, lost=0.0))
    level = level_of(feed)
    feed.steady(level, feed.between(15.0, 25.0))
    start, pace = feed.now_s, feed.between(0.4, 0.8)
    toggles = int(scene.rng.integers(3, 8))
    for k in range(toggles):
        feed.hold(0.0, pace * feed.between(0.85, 1.05))
        if k < toggles - 1:
            feed.hold(level, pace * feed.between(0.85, 1.05))
    feed.event("chatter", (start, feed.now_s))
    feed.steady(level, feed.between(10.0, 20.0))


@family("two channels, one fails")
def two_channels(scene: Scene) -> None:
    """The battery stands while the feed drops out: only the feed has events."""
    scene.faulty = True
    battery, feed = scene.wire("battery"), scene.wire("pump feed")
    level = battery.between(12.2, 12.7)
    for _ in range(3):
        seconds = feed.between(10.0, 25.0)
        battery.hold(level, seconds)
        feed.hold(level - 0.2, seconds)
        seconds = feed.length(0.8, 10.0)
        battery.hold(level + 0.02, seconds)
        feed.event("dropout", feed.hold(0.0, seconds))
    battery.hold(level, 15.0)
    feed.hold(level - 0.2, 15.0)


@family("slipped probe")
def slipped(scene: Scene) -> None:
    """A probe slips off the pin and is put back; at one point a slip reads as a dropout does, and is listed as one.

    Whether it may be called 'outside' is left open here: 0 V at one point is an open feed or an open probe.
    """
    feed = scene.wire("pump feed")
    level = level_of(feed)
    feed.steady(level, feed.between(15.0, 25.0))
    for _ in range(2):
        start = feed.now_s
        feed.floating(feed.between(3.0, 20.0), level)
        feed.event("dropout", (start, feed.now_s), timed=False, accepted=("chatter", "supply_lost"))
        feed.steady(level, feed.between(10.0, 20.0))
    scene.must_say.append("probe|contact")


@family("short dropouts, quick meter")
def short(scene: Scene) -> None:
    """Interruptions of 0.15 s and more, read ten to twenty times a second."""
    scene.faulty = True
    meter = Meter.drawn(scene.rng).but(display_s=scene.rng.uniform(0.05, 0.1), window_s=0.03)
    feed = scene.wire("pump feed", meter)
    level = level_of(feed)
    feed.steady(level, feed.between(12.0, 20.0))
    for _ in range(4):
        feed.event("dropout", feed.hold(0.0, feed.length(0.15, 0.8)))
        feed.steady(level, feed.between(REST_S, 12.0))


@family("a bad day")
def bad_day(scene: Scene) -> None:
    """Dropouts, sags and overvoltages of one feed in any order."""
    scene.faulty = True
    feed = scene.wire("ignition feed")
    level = feed.between(13.4, 14.2)
    feed.steady(level, feed.between(12.0, 20.0), drift=0.003)
    shares = {"dropout": (0.0, 0.4), "sag": (0.6, 0.86), "overvoltage": (1.12, 1.3)}
    for _ in range(6):
        kind = str(scene.rng.choice(list(shares)))
        feed.event(kind, feed.hold(feed.between(*shares[kind]) * level, feed.length(0.6, 8.0)))
        feed.steady(level, feed.between(REST_S, 20.0), drift=0.003)


@family("dropouts, 6 V")
def drive_6(scene: Scene) -> None:
    """An old machine of 6 V, entered as such."""
    scene.faulty = True
    scene.details["system_v"] = "6"
    feed = scene.wire("ignition feed", scale=6.0)
    level = feed.between(6.1, 7.1)
    feed.steady(level, feed.between(15.0, 30.0), drift=0.005)
    for _ in range(3):
        feed.event("dropout", feed.hold(0.0, feed.length(0.4, 15.0)))
        feed.steady(level, feed.between(REST_S, 20.0), drift=0.005)


@family("prime, long spin-down")
def spin_down(scene: Scene) -> None:
    """A pump that generates for half a second after its feed is off."""
    scene.healthy = True
    feed = scene.wire("pump feed")
    feed.hold(0.0, feed.between(4.0, 8.0))
    for _ in range(2):
        level = feed.between(11.8, 12.4)
        scene.mark(feed.now_s, "key-on")
        feed.hold(0.0, 0.1)
        start, off = feed.hold(level, feed.between(1.5, 4.0))
        share, tau_s = feed.between(0.55, 0.9), feed.between(0.1, 0.35)
        feed.decay(share * level, 0.0, tau_s, feed.between(8.0, 12.0))
        feed.event("prime_pulse", (start, off + tau_s * log(share / 0.5)))


@family("falls to near half")
def near_half(scene: Scene) -> None:
    """Noise of 0.4 %: 46 % and less of the level is a dropout, 54 % and more a sag."""
    scene.faulty = True
    feed = scene.wire("pump feed", Meter.drawn(scene.rng).but(noise=0.05))
    level = level_of(feed)
    feed.hold(level, feed.between(15.0, 25.0))
    for _ in range(5):
        dropout = feed.chance(0.5)
        share = feed.between(0.42, 0.46) if dropout else feed.between(0.54, 0.6)
        feed.event("dropout" if dropout else "sag", feed.hold(share * level, feed.length(1.0, 12.0)))
        feed.hold(level, feed.between(REST_S, 15.0))
