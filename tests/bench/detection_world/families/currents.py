"""Currents: interrupted, switched, of a pump that starts, of a load that is no car's."""

from __future__ import annotations

from tests.bench.detection_world.families.family import family
from tests.bench.detection_world.meter import Meter
from tests.bench.detection_world.scene import Scene
from tests.bench.detection_world.trace import Trace


def current(scene: Scene, label: str, scale: float = 5.0) -> Trace:
    """Add a current channel."""
    return scene.wire(label, Meter.drawn(scene.rng, scale), quantity="dc_current", unit="A")


@family("current interrupted")
def interrupted(scene: Scene) -> None:
    """A pump's 4.8 A falls to nothing for seconds and returns.

    One clamp cannot tell a fault from a switch: an event, and 'cannot tell'.
    """
    scene.cannot_tell = True
    load = current(scene, "pump current")
    level = load.between(4.0, 6.0)
    load.steady(level, load.between(20.0, 40.0))
    for _ in range(int(scene.rng.integers(1, 4))):
        load.event("interruption", load.hold(0.0, load.length(0.6, 8.0)))
        load.steady(level, load.between(12.0, 30.0))


@family("current interrupted, voltage present")
def interrupted_fed(scene: Scene) -> None:
    """The same with the voltage at the pump recorded beside it, which stands: the load or its ground is open."""
    scene.faulty, scene.certain_fault = True, True
    feed, load = scene.wire("pump feed"), current(scene, "pump current")
    level = load.between(4.0, 6.0)
    for _ in range(3):
        seconds = load.between(12.0, 30.0)
        load.steady(level, seconds)
        feed.hold(13.4, seconds)
        seconds = load.length(0.8, 6.0)
        load.event("interruption", load.hold(0.0, seconds))
        feed.hold(13.7, seconds)
    load.steady(level, 15.0)
    feed.hold(13.4, 15.0)


@family("load switched off and on")
def switched(scene: Scene) -> None:
    """Lamps that a person switches: events perhaps, but no fault."""
    scene.healthy = True
    scene.neutral = ("interruption", "prime_pulse")
    load = current(scene, "headlamp current", 10.0)
    level = load.between(8.0, 10.0)
    for _ in range(3):
        load.steady(level, load.between(20.0, 60.0))
        load.hold(0.0, load.between(3.0, 40.0))


@family("pump inrush")
def inrush(scene: Scene) -> None:
    """A prime seen by its current: some 12 A for a tenth of a second or two, then 4 A."""
    scene.healthy = True
    load = current(scene, "pump current")
    load.hold(0.0, load.between(5.0, 10.0))
    for _ in range(int(scene.rng.integers(1, 4))):
        scene.mark(load.now_s, "key-on")
        load.hold(0.0, load.between(0.05, 0.3))
        level, seconds = load.between(3.6, 4.6), load.between(1.4, 4.0)
        load.event("prime_pulse", load.decay(load.between(10.5, 12.5), level, load.between(0.05, 0.25), seconds))
        load.hold(load.between(0.0, 0.02), load.between(8.0, 15.0))


@family("current of five minutes")
def long_current(scene: Scene) -> None:
    """Some motor's current for minutes: nothing of a car's, not a draw of a sleeping one."""
    scene.healthy = True
    scene.neutral = ("interruption",)
    load = current(scene, str(scene.rng.choice(["conveyor", "bench supply", "drive motor"])), 20.0)
    level = load.between(2.0, 40.0)
    for _ in range(6):
        load.steady(level * load.between(0.7, 1.0), load.between(55.0, 80.0), drift=0.05)
    scene.must_not_say.append("parasitic|asleep|sleep")


@family("sleeping draw")
def draw(scene: Scene) -> None:
    """A parked vehicle's draw falls asleep: no interruption, no fault."""
    scene.healthy = True
    load = scene.wire(
        "battery draw", Meter.drawn(scene.rng, 0.5, 0.001).but(display_s=0.5), quantity="dc_current", unit="A"
    )
    load.steady(load.between(2.5, 4.0), load.between(60.0, 120.0))
    load.steady(load.between(0.3, 0.5), load.between(120.0, 240.0))
    load.hold(load.between(0.012, 0.022), load.between(300.0, 400.0))
    scene.neutral = ("prime_pulse",)
