"""The bench's own world: its network against hand-worked circuits, its faults against what they are to do."""

from __future__ import annotations

import math

import numpy as np
import pytest

from meterlog.circuit import circuit_from_table
from tests.bench.diagnosis_world.circuits import EVERY, as_table, with_speed_unit
from tests.bench.diagnosis_world.faults import FAULTS
from tests.bench.diagnosis_world.meter import read
from tests.bench.diagnosis_world.network import Network
from tests.bench.diagnosis_world.person import from_battery_on, half_split
from tests.bench.diagnosis_world.search import Bench
from tests.bench.diagnosis_world.vehicle import works
from tests.bench.diagnosis_world.worlds import WORLDS, make_case, sound_vehicle

GARAGE = WORLDS["garage"]


def test_network_divides_a_voltage_and_a_meter_loads_it() -> None:
    """12 V over 10 + 10 Mohm, measured with 10 Mohm: 4 V, not 6 V."""
    network = Network(3, 2)
    network.add("source", 2, 0, 0.001, 12.0)
    network.add("upper", 0, 1, 10e6)
    network.add("lower", 1, 2, 10e6)
    network.add("meter", 1, 2, 10e6)
    assert network.voltages()[1] == pytest.approx(4.0, rel=0.01)


def test_network_finds_where_a_load_settles() -> None:
    """A load of constant 2 A behind 1 ohm at 12 V has 10 V."""
    network = Network(2, 1)
    network.add("source", 1, 0, 1.0, 12.0)
    volts, amps = network.with_load(0, 1, lambda v: 2.0 if v > 0.5 else 4.0 * v)
    assert volts[0] == pytest.approx(10.0, abs=0.01)
    assert amps == pytest.approx(2.0, abs=0.01)


@pytest.mark.parametrize("drawn", [*EVERY, with_speed_unit(EVERY[0])], ids=lambda drawn: drawn.name)
def test_every_circuit_is_one_that_the_product_reads(drawn: object) -> None:
    circuit_from_table(as_table(drawn))  # type: ignore[arg-type]


def test_sound_vehicles_work() -> None:
    for seed in range(60):
        rng = np.random.default_rng((3, seed))
        assert works(sound_vehicle(GARAGE, rng), rng)


@pytest.mark.parametrize("name", ["open", "command", "weak command", "fuse", "short", "seized", "open load"])
def test_a_vehicle_with_a_hard_fault_does_not_work(name: str) -> None:
    for seed in range(20):
        rng = np.random.default_rng((4, seed))
        made = FAULTS[name].make(sound_vehicle(GARAGE, rng), rng)
        if made:
            assert not works(made[0], rng), made


def test_bad_readings_come_as_often_as_the_world_says() -> None:
    rng = np.random.default_rng(5)
    vehicle = sound_vehicle(GARAGE, rng)
    asked: dict[str, object] = {
        "quantity": "voltage", "at": "post_plus", "to": "battery_minus", "state": "key_on", "load": "connected"
    }  # fmt: skip
    nothing = sum(abs(float(str(read(vehicle, asked, 0.5, rng)["value"]))) < 1 for _ in range(400)) / 400
    assert nothing == pytest.approx(0.25, abs=0.06)  # half of the bad ones make no contact


def test_both_orders_find_an_open_wire_and_stop() -> None:
    for seed in range(12):
        rng = np.random.default_rng((6, seed))
        vehicle = sound_vehicle(WORLDS["young electrics"], rng)
        if "tank_wire" not in [part[0] for part in vehicle.drawn.parts]:
            continue
        broken = vehicle.changed(vehicle.drawn.index("tank_wire"), math.inf)
        for order in (from_battery_on, half_split):
            assert order(Bench(broken, 0.0, np.random.default_rng(seed))) == "tank_wire"


def test_a_case_is_the_same_again_from_its_seed() -> None:
    first, second = (make_case(GARAGE, np.random.default_rng(9), sound=False) for _ in range(2))
    assert (first.fault, first.right) == (second.fault, second.right)
    assert (first.vehicle.ohm == second.vehicle.ohm).all()


def test_a_solenoid_reads_its_own_ohms_from_its_plug_to_its_case_though_its_connector_is_open() -> None:
    drawn = next(drawn for drawn in EVERY if drawn.name == "starter")
    rng = np.random.default_rng(6)
    sound = next(v for v in (sound_vehicle(GARAGE, rng) for _ in range(200)) if v.drawn == drawn)
    asked: dict[str, object] = {
        "quantity": "resistance", "at": "start_plug", "to": "starter_case", "state": "isolated", "load": "unplugged"
    }  # fmt: skip
    for part, ohm in (("start_pin", math.inf), ("start_wire", 3.0)):
        shown = read(sound.changed(drawn.index(part), ohm), asked, 0.0, rng)["value"]
        assert float(str(shown)) == pytest.approx(sound.winding_ohm + sound.lead_ohm, abs=0.15)
    assert read(sound.changed(drawn.load, math.inf), asked, 0.0, rng)["value"] == "open"
