"""Healthy vehicles that move by design: nothing of them may be 'outside'."""

from __future__ import annotations

from tests.bench.detection_world.families.family import family
from tests.bench.detection_world.families.starts import crank
from tests.bench.detection_world.meter import Meter
from tests.bench.detection_world.scene import Scene

BY_DESIGN = ("sag", "fade", "prime_pulse")
"""A real move of the voltage may be listed; it is no fault."""


def quiet_meter(scene: Scene) -> Meter:
    """A meter that adds hardly anything of its own."""
    return Meter.drawn(scene.rng).but(noise=0.005, gain=1.0 + float(scene.rng.uniform(-0.001, 0.001)))


@family("pump fed by PWM")
def pwm(scene: Scene) -> None:
    """A pump control unit feeds what the engine asks for: 60 to 97 % of the supply, changing every few seconds."""
    scene.healthy, scene.neutral = True, BY_DESIGN
    feed = scene.wire("pump feed")
    supply = feed.between(13.5, 14.2)
    before = supply * 0.9
    for _ in range(int(scene.rng.integers(15, 40))):
        level = supply * feed.between(0.6, 0.97)
        feed.ramp(before, level, feed.between(0.05, 1.0))
        feed.hold(level, feed.length(0.5, 12.0))
        before = level


@family("PWM prime")
def pwm_prime(scene: Scene) -> None:
    """A pump control unit that primes at two thirds of the battery's voltage."""
    scene.healthy = True
    feed = scene.wire("pump feed")
    feed.hold(0.0, 5.0)
    for _ in range(2):
        scene.mark(feed.now_s, "key-on")
        feed.hold(0.0, 0.2)
        feed.event("prime_pulse", feed.hold(feed.between(7.5, 9.5), feed.between(1.5, 4.0)))
        feed.hold(0.0, feed.between(8.0, 14.0))


@family("regulated charging")
def regulated(scene: Scene) -> None:
    """Smart charging: 12.2 V while accelerating, 14.9 V on the overrun, by design."""
    scene.healthy, scene.neutral = True, BY_DESIGN
    battery = scene.wire(str(scene.rng.choice(["battery", "ignition feed"])), quiet_meter(scene))
    level = 13.5
    for _ in range(int(scene.rng.integers(8, 16))):
        wanted = battery.between(12.2, 14.9)
        battery.ramp(level, wanted, battery.between(0.5, 6.0))
        battery.hold(wanted, battery.length(3.0, 60.0))
        level = wanted


@family("start-stop")
def start_stop(scene: Scene) -> None:
    """The engine stops at each light and is started again, each start with its dip."""
    scene.healthy, scene.neutral = True, BY_DESIGN
    feed = scene.wire(str(scene.rng.choice(["ignition feed", "pump feed"])))
    rest, charge = feed.between(12.2, 12.6), feed.between(13.8, 14.4)
    feed.hold(rest, 10.0)
    for _ in range(4):
        crank(feed, rest, feed.between(8.5, 10.5), feed.between(0.3, 0.7))
        feed.decay(rest, charge, feed.between(0.5, 2.0), 8.0)
        feed.hold(charge, feed.between(20.0, 60.0))
        feed.decay(charge, rest, feed.between(0.5, 3.0), feed.between(15.0, 60.0))


@family("14.9 V in the cold")
def cold(scene: Scene) -> None:
    """Charging at -20 degC, where 14.9 V is right."""
    scene.healthy = True
    scene.details["temperature_c"] = "-20"
    battery = scene.wire("battery", quiet_meter(scene))
    battery.hold(battery.between(12.4, 12.6), 20.0)
    battery.decay(12.5, 14.85, 5.0, 40.0)
    battery.hold(14.85, battery.between(120.0, 300.0))


@family("charging in the cold, temperature not entered")
def cold_unsaid(scene: Scene) -> None:
    """The same where nobody entered how cold it is."""
    scene.healthy = True
    battery = scene.wire("battery", quiet_meter(scene))
    battery.hold(battery.between(14.6, 14.88), battery.between(120.0, 300.0))


@family("prime of an 11.2 V battery")
def weak_battery(scene: Scene) -> None:
    """Primes on a battery that was not recorded and is nearly empty: the feed's circuit is sound."""
    scene.healthy = True
    feed = scene.wire("pump feed")
    feed.hold(0.0, 5.0)
    for _ in range(2):
        scene.mark(feed.now_s, "key-on")
        feed.hold(0.0, 0.2)
        feed.event("prime_pulse", feed.hold(feed.between(10.7, 11.1), feed.between(1.5, 4.0)))
        feed.hold(0.0, feed.between(8.0, 14.0))


@family("key cycled all day")
def key_cycling(scene: Scene) -> None:
    """A delivery van's day with markers at each turn of the key: what was switched is no loss."""
    scene.healthy, scene.recorded = True, True
    feed = scene.wire("ignition feed", Meter.drawn(scene.rng).but(display_s=0.5), step_s=0.02)
    feed.hold(0.0, 60.0)
    for _ in range(int(scene.rng.integers(12, 20))):
        scene.mark(feed.now_s, "key-on")
        feed.steady(feed.between(12.3, 14.2), feed.between(60.0, 900.0), drift=0.003)
        scene.mark(feed.now_s, "key-off")
        feed.hold(0.0, feed.between(40.0, 900.0))


@family("key cycled, no markers")
def key_cycling_unmarked(scene: Scene) -> None:
    """The same without a marker: losses may be listed, since nobody said who switched; none is 'outside'."""
    scene.healthy, scene.neutral = True, ("supply_lost",)
    feed = scene.wire("ignition feed", Meter.drawn(scene.rng).but(display_s=0.5), step_s=0.02)
    feed.hold(0.0, 60.0)
    for _ in range(int(scene.rng.integers(12, 20))):
        feed.steady(feed.between(12.3, 14.2), feed.between(60.0, 900.0), drift=0.003)
        feed.hold(0.0, feed.between(40.0, 900.0))
    scene.must_not_say.append("did not come back")


@family("quiet hours")
def quiet(scene: Scene) -> None:
    """Nothing happens for hours, but loads below 7 % and slow drift: no event at all."""
    scene.healthy = True
    meter = Meter.drawn(scene.rng).but(display_s=scene.rng.uniform(0.3, 0.5), lost=0.0005)
    feed = scene.wire(str(scene.rng.choice(["ignition feed", "battery", "pump feed"])), meter, step_s=0.02)
    level = feed.between(12.3, 12.8) if feed.chance(0.5) else feed.between(13.6, 14.5)
    while feed.now_s < QUIET_S:
        feed.steady(level, feed.between(60.0, 600.0), drift=0.01)
        load = level * (1.0 - feed.between(0.005, 0.06))
        feed.ramp(level, load, feed.between(0.02, 0.5))
        feed.hold(load, feed.between(1.0, 120.0))
        feed.ramp(load, level, feed.between(0.02, 2.0))


QUIET_S = 2.7 * 3600.0
"""Of each quiet log: nine of them make 24 hours, s."""


@family("battery at rest")
def at_rest(scene: Scene) -> None:
    """A good battery after a night."""
    scene.healthy = True
    battery = scene.wire("battery", quiet_meter(scene))
    battery.steady(battery.between(12.45, 12.75), battery.between(60.0, 300.0), drift=0.001)


@family("an ordinary drive")
def ordinary(scene: Scene) -> None:
    """Rest, a start, charging, loads, the engine switched off."""
    scene.healthy, scene.neutral = True, ("sag",)
    feed = scene.wire("ignition feed")
    rest, charge = feed.between(12.3, 12.7), feed.between(13.7, 14.3)
    feed.hold(rest, 20.0)
    crank(feed, rest, feed.between(9.0, 10.5), feed.between(0.5, 1.5))
    feed.decay(rest, charge, 1.0, 8.0)
    for _ in range(4):
        feed.steady(charge, feed.between(20.0, 90.0))
        feed.hold(charge * feed.between(0.94, 0.98), feed.between(3.0, 40.0))
    feed.hold(charge, 20.0)
    feed.decay(charge, rest, feed.between(0.5, 5.0), 60.0)


@family("switched off at the end")
def switched_off(scene: Scene) -> None:
    """A drive that ends with the key, marked or not: perhaps listed where nobody marked it, never 'outside'."""
    scene.healthy = True
    feed = scene.wire("ignition feed")
    feed.steady(feed.between(13.6, 14.3), feed.between(40.0, 120.0))
    if feed.chance(0.5):
        scene.mark(feed.now_s - 0.3, "key-off")
    else:
        scene.neutral = ("supply_lost",)
    feed.decay(12.0, 0.0, 0.1, feed.between(5.0, 60.0))


@family("command that switches")
def command(scene: Scene) -> None:
    """A relay's command that goes on and off as the control unit wants: no event of the supply."""
    scene.healthy, scene.neutral = True, ("prime_pulse",)
    wire = scene.wire("fan relay command")
    for _ in range(8):
        wire.hold(wire.between(12.0, 12.4), wire.length(2.0, 40.0))
        wire.hold(wire.between(0.05, 0.6), wire.length(2.0, 40.0))


@family("drop over a good ground")
def good_ground(scene: Scene) -> None:
    """0.02 to 0.06 V while the pump runs, nothing while it does not."""
    scene.healthy = True
    wire = scene.wire("drop across pump ground", Meter.drawn(scene.rng, 0.3, 0.001))
    for _ in range(3):
        wire.hold(0.0, wire.between(5.0, 15.0))
        wire.steady(wire.between(0.02, 0.06), wire.between(5.0, 30.0))


@family("drop over a bad ground")
def bad_ground(scene: Scene) -> None:
    """0.8 V and more while the pump runs."""
    scene.faulty, scene.certain_fault = True, True
    wire = scene.wire("drop across pump ground", Meter.drawn(scene.rng, 0.3, 0.001))
    for _ in range(3):
        wire.hold(0.0, wire.between(5.0, 15.0))
        wire.steady(wire.between(0.8, 2.5), wire.between(5.0, 30.0))


@family("charging stops")
def charging_stops(scene: Scene) -> None:
    """The engine is switched off and the surface charge goes in seconds or a minute: a new level, no fault."""
    scene.healthy, scene.neutral = True, BY_DESIGN
    feed = scene.wire(str(scene.rng.choice(["battery", "ignition feed"])), quiet_meter(scene))
    charge = feed.between(13.7, 14.4)
    feed.hold(charge, feed.between(60.0, 120.0))
    feed.decay(charge, feed.between(12.5, 12.8), feed.length(1.0, 30.0), 180.0)
