"""The charging circuit: its load is a battery, which keeps a voltage of its own when nothing reaches it."""

from __future__ import annotations

import numpy as np
import pytest

from meterlog.circuit.diagnosis import Diagnoser, Diagnosis
from meterlog.circuit.model.circuit_file import load_circuit
from meterlog.circuit.model.solve import load_model, solve
from meterlog.circuit.readings.measurement import Measurement


@pytest.fixture(scope="module")
def charging() -> Diagnoser:
    return Diagnoser(load_circuit("charging"))


def running(tool: Diagnoser, **volts: float) -> Diagnosis:
    """At the stud against the alternator's case, everywhere else against battery -."""
    to = {"output_stud": "alternator_case"}
    readings = [
        Measurement("voltage", at, to.get(at, "battery_minus"), "run", value=value) for at, value in volts.items()
    ]
    return tool.diagnose(readings, suggestions=0)


def test_only_this_template_charges() -> None:
    assert load_circuit("charging").charges
    assert not any(load_circuit(name).charges for name in ("pump-feed", "blower", "lamp", "starter-control"))


def test_the_network_behind_an_open_link_is_the_battery_itself() -> None:
    circuit = load_circuit("charging")
    good, opened = circuit.healthy_ohm(), circuit.healthy_ohm()
    opened[circuit.part_index["fusible_link"]] = np.inf
    model = load_model(circuit, rest_v=12.3)
    minus = circuit.node("battery_minus")
    for ohm, stud_v, battery_v in ((good, 14.2, 13.6), (opened, 14.4, 12.3)):
        found = solve(circuit, ohm, 14.4, model)
        assert found.node_v[0] == pytest.approx(stud_v, abs=0.2)
        volts = found.node_v[circuit.node("battery_plus")] - found.node_v[minus]
        assert volts == pytest.approx(battery_v, abs=0.3)
    assert solve(circuit, opened, 14.4, model).load_a == pytest.approx(0.0, abs=1e-6)


@pytest.mark.parametrize("battery_v", [13.7, 14.0, 14.3, 14.6])
def test_of_a_battery_at_its_charging_voltage_no_fault_is_likeliest(charging: Diagnoser, battery_v: float) -> None:
    found = running(charging, battery_plus=battery_v)
    assert found.healthy > max(h.probability for h in found.hypotheses)


def test_an_alternator_that_gives_nothing_and_one_that_gives_too_much(charging: Diagnoser) -> None:
    dead = running(charging, output_stud=12.2, battery_plus=12.2).hypotheses[0]
    assert (dead.part, dead.words) == ("alternator", "does not charge")
    assert dead.probability > 0.8
    over = running(charging, battery_plus=16.4).hypotheses[0]
    assert (over.part, over.words) == ("alternator", "charges too much")


def test_an_open_link_leaves_the_batterys_own_voltage_behind_it(charging: Diagnoser) -> None:
    top = running(charging, link_in=14.6, link_out=12.2, battery_plus=12.2).hypotheses[0]
    assert (top.part, top.fault) == ("fusible_link", "open")
    assert top.probability > 0.8
