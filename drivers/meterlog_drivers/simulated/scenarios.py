"""The scenarios: one function each, and the table of them.

Each takes a generator of random numbers, so that a seed varies the moments, the battery's charge and temperature and
the size of the fault, but never what kind of fault it is. A key-on never comes before 2 s: readings need an idle
stretch to be compared with.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np

from meterlog_drivers.simulated.meter import MeterModel
from meterlog_drivers.simulated.scenario import (
    Probe,
    Scenario,
    Setup,
    amps,
    battery_amps,
    drop_volts,
    ohms,
    supply_volts,
)
from meterlog_drivers.simulated.van.battery import Battery
from meterlog_drivers.simulated.van.motor import PumpMotor
from meterlog_drivers.simulated.van.starter import Starter
from meterlog_drivers.simulated.van.supply import Span, Supply
from meterlog_drivers.simulated.van.vehicle import Fault, Trip, Vehicle

Rng = np.random.Generator

PUMP_FEED = supply_volts("pump feed", "plug_feed")
BATTERY = supply_volts("battery", "battery_plus")


def _supply(rng: Rng) -> Supply:
    battery = Battery(charge=float(rng.uniform(0.75, 0.95)), temperature_c=float(rng.uniform(8.0, 25.0)))
    return Supply(battery, regulated_v=float(rng.uniform(14.0, 14.4)))


def _vehicle(rng: Rng, prime_s: float = 2.0) -> Vehicle:
    return Vehicle(supply=_supply(rng), prime_s=prime_s)


def _key_on(rng: Rng) -> float:
    return float(rng.uniform(2.6, 3.2))


def _prime_setup(
    rng: Rng,
    probes: tuple[Probe, ...] = (PUMP_FEED,),
    faults: tuple[Fault, ...] = (),
    coil_open: tuple[Span, ...] = (),
    meter: MeterModel | None = None,
) -> Setup:
    """Key on, prime, key off: ten seconds."""
    on = _key_on(rng)
    trip = Trip(9.9, keyed=((on, 9.0),), faults=faults, coil_open=coil_open)
    return Setup(trip, probes, ((on, "key-on"), (9.0, "key-off")), _vehicle(rng), meter or MeterModel())


def healthy_prime(rng: Rng) -> Setup:
    """The pump is fed for 2 s at key-on."""
    return _prime_setup(rng)


def no_command(rng: Rng) -> Setup:
    """The relay coil's command wire is broken."""
    return _prime_setup(rng, coil_open=((0.0, math.inf),))


def open_motor(rng: Rng) -> Setup:
    """A brush does not touch: the feed is right, no current flows."""
    return _prime_setup(rng, (PUMP_FEED, amps("pump current")), (Fault("pump", math.inf),))


def blown_fuse(rng: Rng) -> Setup:
    """The fuse is open."""
    across = drop_volts("across the fuse", "fuse_in", "fuse_out")
    return _prime_setup(rng, (PUMP_FEED, across), (Fault("fuse", math.inf),))


def corroded_ground(rng: Rng) -> Setup:
    """The ground bolt has 0.4 to 0.9 ohm."""
    ground = drop_volts("ground side drop", "plug_ground")
    return _prime_setup(rng, (PUMP_FEED, ground), (Fault("ground_bolt", float(rng.uniform(0.4, 0.9))),))


def relay_high_resistance(rng: Rng) -> Setup:
    """A burnt relay contact of 0.3 to 0.6 ohm."""
    drop = drop_volts("across the relay contact", "fuse_out", "relay_out")
    return _prime_setup(rng, (PUMP_FEED, drop), (Fault("relay", float(rng.uniform(0.3, 0.6))),))


def drop_test(rng: Rng) -> Setup:
    """Nothing wrong: drop of the feed side, drop of the ground side, and the current, at one prime."""
    feed = drop_volts("feed side drop", "battery_plus", "plug_feed")
    ground = drop_volts("ground side drop", "plug_ground", full_scale=4.0)
    return _prime_setup(rng, (feed, ground, amps("pump current")))


def relay_drop_test(rng: Rng) -> Setup:
    """A burnt relay contact of 0.3 to 0.6 ohm, as the drop test sees it: the feed side's drop and the ground side's."""
    feed = drop_volts("feed side drop", "battery_plus", "plug_feed")
    ground = drop_volts("ground side drop", "plug_ground", full_scale=4.0)
    return _prime_setup(rng, (feed, ground), (Fault("relay", float(rng.uniform(0.3, 0.6))),))


def pump_ohms(rng: Rng) -> Setup:
    """Nothing wrong, on ohms, isolated: the pump's winding and its ground path."""
    winding = ohms("pump winding", "pump_plus", "pump_minus")
    ground = ohms("pump ground path", "pump_minus", "battery_minus")
    return Setup(Trip(6.6), (winding, ground), (), _vehicle(rng), MeterModel(full_scale=400.0))


def autoranging(rng: Rng) -> Setup:
    """The healthy prime on a meter left in autorange: readings are missing while it looks for its range."""
    return _prime_setup(rng, meter=MeterModel(full_scale=None))


def dead_spot(rng: Rng) -> Setup:
    """A burnt commutator segment: after some stops the pump does not start until it is tapped."""
    trip = Trip(
        40.0,
        keyed=((3.0, 7.0), (10.0, 14.0), (17.0, 21.0), (24.0, 28.0), (31.0, 37.0)),
        taps_s=(31.9,),
    )
    vehicle = replace(_vehicle(rng), motor=PumpMotor(dead_arc_rad=2.6))
    marks = (*((on, "key-on") for on, _ in trip.keyed), (31.9, "tapped the pump"))
    return Setup(trip, (PUMP_FEED, amps("pump current")), marks, vehicle)


def _driving(
    rng: Rng,
    duration_s: float,
    faults: tuple[Fault, ...] = (),
    coil_open: tuple[Span, ...] = (),
    marks: tuple[tuple[float, str], ...] = (),
    probes: tuple[Probe, ...] = (PUMP_FEED,),
    meter: MeterModel | None = None,
) -> Setup:
    """Key on at 2.2 s, crank at 5.4 s, and drive to the end of the scenario."""
    on, crank = 2.2, 5.4
    fires = crank + float(rng.uniform(0.9, 1.3))
    trip = Trip(
        duration_s, ((on, math.inf),), ((crank, fires),), ((fires, math.inf),), faults=faults, coil_open=coil_open
    )
    return Setup(trip, probes, ((on, "key-on"), (crank, "crank"), *marks), _vehicle(rng), meter or MeterModel())


def intermittent_feed(rng: Rng) -> Setup:
    """A feed wire that parts over bumps: five dropouts of 0.15 to 1.6 s while driving."""
    lengths = rng.permutation([0.15, 0.35, 0.6, 0.9, 1.6]) * rng.uniform(0.9, 1.1, 5)
    starts = 16.0 + 4.6 * np.arange(5) + rng.uniform(0.0, 1.2, 5)
    faults = tuple(Fault("feed_wire", math.inf, float(s), float(s + d)) for s, d in zip(starts, lengths, strict=True))
    marks = tuple((float(s - 0.2), "bump") for s in starts)
    return _driving(rng, 39.6, faults, marks=marks)


def relay_chatter(rng: Rng) -> Setup:
    """The relay coil's feed makes and breaks over rough road: bursts of short interruptions."""
    spans: list[Span] = []
    for burst in (16.5, 24.0):
        t = burst + float(rng.uniform(0.0, 1.0))
        for _ in range(int(rng.integers(4, 7))):
            off = float(rng.uniform(0.25, 0.55))
            spans.append((t, t + off))
            t += off + float(rng.uniform(0.35, 0.6))
    return _driving(rng, 33.0, coil_open=tuple(spans))


def dies_and_stays(rng: Rng) -> Setup:
    """The feed opens for good while driving."""
    opens = float(rng.uniform(24.0, 26.0))
    return _driving(rng, 59.4, (Fault("feed_wire", math.inf, opens),), marks=((opens + 2.0, "engine died"),))


def link_lost(rng: Rng) -> Setup:
    """Nothing wrong with the van: the meter's link fails for six seconds."""
    down = float(rng.uniform(14.0, 16.0))
    return _driving(rng, 29.7, meter=MeterModel(link_down=((down, down + 6.0),)))


def meter_trouble(rng: Rng) -> Setup:
    """HOLD pressed by mistake for a while, then the meter's own battery runs low."""
    held = float(rng.uniform(11.0, 12.0))
    return _driving(rng, 29.7, meter=MeterModel(held=((held, held + 5.0),), low_battery_from_s=22.0))


def healthy_crank(rng: Rng) -> Setup:
    """A good battery cranks, the engine starts, the alternator charges."""
    return _driving(rng, 24.75, probes=(BATTERY,))


def overcharging(rng: Rng) -> Setup:
    """A failed regulator: 15.6 V and more once the engine runs."""
    setup = _driving(rng, 24.75, probes=(BATTERY,))
    supply = replace(setup.vehicle.supply, regulated_v=float(rng.uniform(15.5, 16.0)), regulation_s=1.0)
    return replace(setup, vehicle=replace(setup.vehicle, supply=supply))


def weak_battery_crank(rng: Rng) -> Setup:
    """A worn, cold, half-empty battery cranks slowly and the engine does not start."""
    battery = Battery(charge=float(rng.uniform(0.35, 0.5)), temperature_c=-5.0, healthy_ohm=0.009)
    supply = Supply(battery, Starter(friction_nm=55.0, compression_nm=30.0))
    trip = Trip(19.8, keyed=((3.0, 16.0),), cranks=((6.0, 11.0),))
    marks = ((3.0, "key-on"), (6.0, "crank"), (16.0, "key-off"))
    return Setup(trip, (BATTERY, PUMP_FEED), marks, Vehicle(supply=supply))


def prime_while_cranking(rng: Rng) -> Setup:
    """Healthy: this van feeds its pump only while it cranks and runs, and has no prime at key-on."""
    setup = _driving(rng, 19.8)
    return replace(setup, vehicle=replace(setup.vehicle, prime_s=0.0))


def wiggle_open(rng: Rng) -> Setup:
    """The feed wire on ohms, isolated: it opens when the harness is moved at one place."""
    places = (5.0, 9.0, 13.0, 17.0)
    starts = [place + 0.4 + float(rng.uniform(0.0, 0.5)) for place in places[2:]]
    ends = [start + float(rng.uniform(0.9, 1.6)) for start in starts]
    faults = tuple(Fault("feed_wire", math.inf, a, b) for a, b in zip(starts, ends, strict=True))
    meter = MeterModel(full_scale=400.0)
    feed = ohms("feed wire", "relay_out", "plug_feed")
    return Setup(Trip(21.45, faults=faults), (feed,), tuple((p, "wiggle") for p in places), _vehicle(rng), meter)


def wiggle_step(rng: Rng) -> Setup:
    """The ground path on ohms, isolated: its resistance steps up at the eyelet and stays."""
    at, rise = float(rng.uniform(9.0, 10.0)), float(rng.uniform(3.0, 6.0))
    meter = MeterModel(full_scale=400.0)
    ground = ohms("pump ground path", "pump_minus", "battery_minus")
    marks = ((5.0, "wiggle"), (at - 0.3, "wiggle"))
    return Setup(Trip(19.8, faults=(Fault("ground_wire", rise, at),)), (ground,), marks, _vehicle(rng), meter)


def parasitic_draw(rng: Rng) -> Setup:
    """Key off: control units fall asleep one after the other, one stays awake and draws some 0.3 A."""
    stays = float(rng.uniform(0.22, 0.4))
    awake = ((0.0, 3.0, 2.0), (3.0, 10.0, 3.1), (10.0, 24.0, 0.9), (24.0, 42.0, 0.15), (0.0, math.inf, stays))
    trip = Trip(79.2, keyed=((0.0, 3.0),), awake=awake)
    vehicle = replace(_vehicle(rng), prime_s=0.0)
    return Setup(trip, (battery_amps("battery current"),), ((3.0, "key-off"),), vehicle)


def _table(*builders: Callable[[Rng], Setup]) -> dict[str, Scenario]:
    scenarios = {}
    for build in builders:
        name = build.__name__.replace("_", "-")
        scenarios[name] = Scenario(name, (build.__doc__ or "").strip().replace("\n    ", " "), build)
    return scenarios


SCENARIOS = _table(
    healthy_prime,
    no_command,
    open_motor,
    blown_fuse,
    corroded_ground,
    relay_high_resistance,
    drop_test,
    relay_drop_test,
    pump_ohms,
    autoranging,
    dead_spot,
    intermittent_feed,
    relay_chatter,
    dies_and_stays,
    link_lost,
    meter_trouble,
    healthy_crank,
    overcharging,
    weak_battery_crank,
    prime_while_cranking,
    wiggle_open,
    wiggle_step,
    parasitic_draw,
)
"""Every scenario by name."""
