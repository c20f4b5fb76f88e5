"""Voltages that are too high, or fall too slowly to be noticed."""

from __future__ import annotations

from math import log

from tests.bench.detection_world.families.family import family
from tests.bench.detection_world.families.supplies import REST_S, level_of
from tests.bench.detection_world.meter import Meter
from tests.bench.detection_world.scene import Scene, without

LIMIT_V = 15.0
"""Highest voltage of a 12 V system (the fixed definition of `overvoltage`), V."""


@family("overvoltage")
def overvoltage(scene: Scene) -> None:
    """A regulator that fails now and then."""
    scene.faulty = True
    feed = scene.wire("alternator B+")
    level = feed.between(13.6, 14.4)
    feed.steady(level, feed.between(10.0, 20.0), drift=0.005)
    for _ in range(int(scene.rng.integers(1, 4))):
        feed.event("overvoltage", feed.hold(feed.between(15.4, 17.5), feed.length(0.4, 20.0)))
        feed.steady(level, feed.between(REST_S, 20.0), drift=0.005)


@family("load dump")
def load_dump(scene: Scene) -> None:
    """The battery's clamp comes off while it charges: 22 to 25 V that decays; then 13.6 V again, which is no sag."""
    scene.faulty = True
    feed = scene.wire("alternator B+", Meter.drawn(scene.rng).but(display_s=0.15, window_s=0.03))
    feed.steady(13.64, feed.between(15.0, 30.0), drift=0.002)
    for _ in range(2):
        peak, tau_s = feed.between(22.0, 25.0), feed.between(0.15, 0.6)
        start, _ = feed.decay(peak, 13.64, tau_s, 8.0 * tau_s)
        above_s = tau_s * log((peak - 13.64) / (LIMIT_V - 13.64))
        feed.event("overvoltage", (start, start + above_s), above=LIMIT_V + 0.5)
        feed.steady(13.64, feed.between(10.0, 20.0), drift=0.002)


@family("spikes")
def spikes(scene: Scene) -> None:
    """Loose terminal: single readings of 22 to 25 V on 13.6 V, some a few together."""
    scene.faulty = True
    meter = Meter.drawn(scene.rng).but(window_s=0.02, lost=0.0)
    feed = scene.wire("alternator B+", meter)
    feed.steady(13.6, feed.between(15.0, 30.0), drift=0.002)
    for _ in range(4):
        feed.event("overvoltage", feed.hold(feed.between(22.0, 25.0), meter.display_s * feed.between(1.3, 3.0)))
        feed.steady(13.6, feed.between(6.0, 15.0), drift=0.002)


@family("fade")
def fade(scene: Scene) -> None:
    """The alternator has stopped, or a connection warms up: 12.4 V becomes 9 V in 40 to 90 s, and may come back."""
    scene.faulty = True
    feed = scene.wire("ignition feed")
    level, low = feed.between(12.1, 12.6), feed.between(8.7, 9.3)
    feed.steady(level, feed.between(60.0, 120.0), drift=0.003)
    slope_s = feed.between(40.0, 90.0)
    start = feed.now_s + slope_s * 0.1 * level / (level - low)
    feed.ramp(level, low, slope_s)
    feed.hold(low, feed.between(5.0, 60.0))
    feed.event("fade", (start, feed.now_s), timed=False)
    if feed.chance(0.5):
        feed.ramp(low, level, feed.between(0.5, 30.0))
        feed.hold(level, 40.0)


@family("slow fade")
def slow_fade(scene: Scene) -> None:
    """A battery that is drained by what it feeds: minutes from 12.4 V to 9 V."""
    scene.faulty = True
    feed = scene.wire("battery", Meter.drawn(scene.rng).but(display_s=0.5))
    feed.steady(12.4, 60.0, drift=0.002)
    slope_s = feed.between(200.0, 900.0)
    start = feed.now_s + slope_s * 1.24 / 3.4
    feed.ramp(12.4, 9.0, slope_s)
    feed.hold(9.0, 30.0)
    feed.event("fade", (start, feed.now_s), timed=False)


@family("low from the first reading")
def low_from_start(scene: Scene) -> None:
    """A 12 V battery that stands at 5 to 9.3 V all along: never 'within', and never silent."""
    scene.faulty = True
    scene.details["system_v"] = "12"
    scene.neutral = ("fade",)
    battery = scene.wire("battery")
    battery.steady(battery.between(5.0, 9.3), battery.between(60.0, 180.0), drift=0.002)
    scene.must_not_say.append(r"no (dropout|sag|fade)[^.]*seen")


@family("resting feed, healthy drift")
def drift(scene: Scene) -> None:
    """A supply that sinks by 7 % in minutes as its battery is used: no fade."""
    scene.healthy = True
    feed = scene.wire("ignition feed")
    level = feed.between(12.5, 12.8)
    feed.steady(level, 30.0, drift=0.002)
    low = level * feed.between(0.94, 0.97)
    feed.ramp(level, low, feed.between(60.0, 300.0))
    feed.hold(low, 30.0)


@family("single 0 V beside a gap")
def zero_beside_gap(scene: Scene) -> None:
    """One reading of 0 V, then or before it none for seconds: what was read counts."""
    scene.faulty = True
    meter = Meter.drawn(scene.rng).but(window_s=0.02, jitter_s=0.0, lost=0.0)
    feed = scene.wire("pump feed", meter)
    level = level_of(feed)
    feed.steady(level, feed.between(20.0, 40.0))
    zero = feed.hold(0.0, meter.display_s * 1.05 + 0.02)
    feed.event("dropout", zero, timed=False, accepted=("supply_lost",))
    feed.steady(level, feed.between(20.0, 40.0))
    gap_s = feed.between(3.0, 9.0)
    gap = (zero[0] - gap_s, zero[0]) if feed.chance(0.5) else (zero[1], zero[1] + gap_s)
    feed.event("gap", gap, timed=False, certain=True)
    scene.wires[0].meddle = without(*gap)


@family("overvoltage near the limit")
def overvoltage_near(scene: Scene) -> None:
    """Noise of 30 mV: 15.3 V is over the limit of 15 V, 14.8 V is not."""
    meter = Meter.drawn(scene.rng).but(noise=0.03, gain=1.0)
    feed = scene.wire("alternator B+", meter)
    feed.hold(14.2, feed.between(12.0, 20.0))
    for _ in range(6):
        seconds = feed.length(1.0, 10.0)
        if feed.chance(0.5):
            feed.event("overvoltage", feed.hold(feed.between(15.25, 15.5), seconds))
        else:
            feed.hold(feed.between(14.6, 14.8), seconds)
        feed.hold(14.2, feed.between(REST_S, 12.0))


@family("overvoltage, 24 V")
def overvoltage_24(scene: Scene) -> None:
    """A truck's regulator that fails now and then."""
    scene.faulty = True
    scene.details["system_v"] = "24"
    feed = scene.wire("alternator B+", scale=24.0)
    level = feed.between(27.2, 28.8)
    feed.steady(level, feed.between(10.0, 20.0), drift=0.005)
    for _ in range(3):
        feed.event("overvoltage", feed.hold(feed.between(31.0, 36.0), feed.length(0.4, 20.0)))
        feed.steady(level, feed.between(REST_S, 20.0), drift=0.005)
