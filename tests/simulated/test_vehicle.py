"""The van solved over time: agrees with the circuit solver where nothing moves, and with the trade where it does."""

from __future__ import annotations

import math
import time
from itertools import pairwise

import numpy as np
import pytest

from meterlog.circuit.model.solve import LoadModel, Shunt, solve
from meterlog_drivers.simulated.van.motor import PumpMotor
from meterlog_drivers.simulated.van.vehicle import STEP_S, Fault, Solved, Trip, Vehicle, van_circuit

PRIMED = Trip(6.0, keyed=((1.0, 5.5),))
POINTS = [point.id for point in van_circuit().points]


def at(solved: Solved, point: str, time_s: float, to: str = "battery_minus") -> float:
    return float(solved.voltage(point, to).value[round(time_s / STEP_S)])


@pytest.mark.parametrize(
    "faults",
    [
        (),
        (Fault("ground_bolt", 0.6),),
        (Fault("relay", 0.4), Fault("feed_wire", 0.2)),
        (Fault("ground_wire", math.inf),),
        (Fault("pump", math.inf),),
        (Fault("fuse", math.inf),),
        (Fault("ground_bolt", 50_000.0),),
    ],
    ids=lambda faults: "+".join(f"{f.part}-{f.ohm:g}" for f in faults) or "healthy",
)
@pytest.mark.parametrize("point", POINTS)
def test_steady_node_voltages_are_those_of_the_circuit_solver(faults: tuple[Fault, ...], point: str) -> None:
    solved = Vehicle().solve(Trip(6.0, keyed=((1.0, 5.5),), faults=faults))
    k = round(2.9 / STEP_S)  # the pump has settled, the relay is closed
    circuit = solved.circuit
    volts = solved.source_v[k]
    current = float(solved.current_a[k])
    winding = solved.motor.winding_ohm
    load = LoadModel(current_a=current, winding_ohm=winding, nominal_v=12.0, constant_share=1.0)
    if current < 1e-3 or solved.emf_v[k] == 0.0:  # open, or standing: the winding and nothing else
        load = LoadModel(current_a=12.0 / winding, winding_ohm=winding, nominal_v=12.0, constant_share=0.0)
    node = circuit.node(point)
    shunts = [Shunt(node, len(circuit.parts) - 1)]
    expected = solve(circuit, solved.ohm[:, k], volts, load, shunts).node_v[node]
    assert at(solved, point, 2.9) == pytest.approx(float(expected), abs=0.015)


def test_a_healthy_feed_is_within_a_volt_of_the_battery_and_gone_after_the_prime() -> None:
    solved = Vehicle().solve(PRIMED)
    assert at(solved, "battery_plus", 2.5) - at(solved, "plug_feed", 2.5) < 1.0
    assert at(solved, "plug_feed", 0.9) == 0.0
    assert at(solved, "plug_feed", 4.0) == 0.0


def test_the_coasting_pump_feeds_its_own_terminal_for_a_moment() -> None:
    solved = Vehicle().solve(PRIMED)
    assert 3.0 < at(solved, "plug_feed", 3.03) < 9.0
    assert solved.current_a[round(3.03 / STEP_S)] == 0.0
    assert at(solved, "plug_feed", 3.5) == 0.0


def test_the_drops_add_up_to_the_supply() -> None:
    solved = Vehicle().solve(Trip(6.0, keyed=((1.0, 5.5),), faults=(Fault("ground_bolt", 0.5),)))
    steps = [at(solved, a, 2.5, b) for a, b in pairwise(POINTS)]
    assert sum(steps) == pytest.approx(at(solved, "battery_plus", 2.5), abs=1e-3)
    assert at(solved, "ground_eyelet", 2.5, "body") == pytest.approx(
        float(solved.current_a[round(2.5 / STEP_S)]) * 0.502, rel=1e-3
    )


def test_an_open_ground_lets_the_pump_case_rise_to_the_supply() -> None:
    solved = Vehicle().solve(Trip(6.0, keyed=((1.0, 5.5),), faults=(Fault("ground_bolt", math.inf),)))
    assert at(solved, "plug_ground", 2.5) == pytest.approx(at(solved, "battery_plus", 2.5), abs=0.01)
    assert solved.current_a.max() == 0.0


def test_a_wire_between_two_breaks_floats() -> None:
    solved = Vehicle().solve(Trip(4.0, faults=(Fault("fuse", math.inf),)))
    assert solved.voltage("fuse_out").floating.all()
    assert not solved.voltage("plug_feed").floating.any()


def test_resistance_is_that_of_the_parts_between_the_probes_and_the_leads() -> None:
    solved = Vehicle().solve(Trip(1.0))
    feed = solved.resistance("relay_out", "plug_feed", leads_ohm=0.2).value
    assert np.allclose(feed, 0.2 + 0.004 + 0.0345)
    assert np.allclose(solved.resistance("pump_plus", "pump_minus", 0.0).value, solved.motor.winding_ohm)
    assert np.isinf(solved.resistance("fuse_in", "plug_feed").value).all(), "the relay is open"


def test_a_rotor_on_the_burnt_segment_starts_only_after_a_tap() -> None:
    vehicle = Vehicle(motor=PumpMotor(dead_arc_rad=2.0))
    solved = vehicle.solve(Trip(6.0, keyed=((1.0, 5.5),), taps_s=(2.0,)), first_angle_rad=1.0)
    assert solved.current_a[: round(2.0 / STEP_S)].max() == 0.0
    assert solved.current_a[round(2.5 / STEP_S)] > 4.0
    assert at(solved, "plug_feed", 1.5) == pytest.approx(at(solved, "battery_plus", 1.5), abs=0.01)


def test_a_minute_with_a_crank_is_solved_in_well_under_a_second() -> None:
    trip = Trip(60.0, ((3.0, math.inf),), ((6.0, 7.0),), ((7.0, math.inf),))
    began = time.process_time()
    Vehicle().solve(trip).voltage("plug_feed")
    assert time.process_time() - began < 1.0
