"""Checks that a branch's load can be unplugged, in a file and typed, and that it tells which branch is bad."""

from __future__ import annotations

import pytest

from meterlog.circuit.diagnosis import Diagnoser, Diagnosis
from meterlog.circuit.model.circuit_file import load_circuit
from meterlog.circuit.next_measurement.instructions import instruction
from meterlog.circuit.readings.from_file import measured_from_table
from meterlog.circuit.readings.from_rows import measurement_from_row, trial_from_row
from meterlog.circuit.readings.typed_answers import typed_place, typed_trial, typed_unplugged
from meterlog.errors import CircuitError

CIRCUIT = load_circuit("pump-and-heater")
DIAGNOSER = Diagnoser(CIRCUIT, complaint="dead")
BLOWN = [
    {"quantity": "voltage", "at": "fuse_in", "value": 12.4},
    {"quantity": "voltage", "at": "fuse_out", "value": 0.0},
]
BLEW_AGAIN = {"replaced": "fuse", "result": "blew"}
HEATER = {
    "quantity": "resistance",
    "at": "heater_plug_feed",
    "to": "heater_plug_ground",
    "unplugged": "heater",
    "side": "load",
}


def found(*tried: dict[str, object], measured: dict[str, object] | None = None, suggestions: int = 0) -> Diagnosis:
    """Return the diagnosis of a circuit whose fuse has blown, with what else is known."""
    table = {"measured": [*BLOWN, *([measured] if measured else [])], "tried": [BLEW_AGAIN, *tried]}
    return DIAGNOSER.diagnose(*measured_from_table(table, CIRCUIT), suggestions=suggestions)


def chances(diagnosis: Diagnosis) -> dict[str, float]:
    return {one.part: one.probability for one in diagnosis.hypotheses}


def test_a_new_fuse_that_holds_with_the_heater_unplugged_finds_the_shorted_heater() -> None:
    first = found({"replaced": "fuse", "unplugged": "heater", "result": "runs"}).hypotheses[0]
    assert (first.part, first.fault) == ("heater", "short_to_ground")
    assert first.probability > 0.6


def test_one_that_blows_all_the_same_clears_the_heater_and_not_its_wire() -> None:
    before = chances(found())
    after = chances(found({"replaced": "fuse", "unplugged": "heater", "result": "blew"}))
    assert after.get("heater", 0.0) < 0.1 * before["heater"]
    assert after["heater_wire"] > before["heater_wire"]


def test_it_is_proposed_where_it_tells_and_says_how() -> None:
    steps = {step.place: step for step in found(suggestions=20).steps}
    step = steps["replaced fuse, heater unplugged"]
    assert "unplug heater" in step.how.text  # type: ignore[union-attr]
    assert step.as_json()["tried"] == {"replaced": "fuse", "unplugged": "heater"}


@pytest.mark.parametrize(("ohm", "shorted"), [(0.2, True), (4.5, False)])
def test_ohms_of_the_unplugged_heater_are_its_own(ohm: float, shorted: bool) -> None:
    probability = chances(found(measured=HEATER | {"value": ohm})).get("heater", 0.0)
    assert probability > 0.7 if shorted else probability < 0.05


def test_ohms_with_the_heater_unplugged_leave_its_branch_out() -> None:
    network = DIAGNOSER.network
    row = {"quantity": "resistance", "at": "shared_feed", "unplugged": "pump", "value": 9.0}
    with_heater = network.predict(measurement_from_row(row, CIRCUIT, "m")).mean[0]
    neither = measurement_from_row(row | {"unplugged": "heater, pump"}, CIRCUIT, "m")
    assert with_heater < 3.0  # on the scale of log ohms: some 4.5 ohm, and an overload
    assert network.predict(neither).mean[0] > 15.0


@pytest.mark.parametrize("name", ["heater", "heater_feed_pin", "heater_ground_pin"])
def test_the_load_and_the_connectors_at_it_say_the_same(name: str) -> None:
    m = measurement_from_row(HEATER | {"unplugged": name, "value": 9.0}, CIRCUIT, "m")
    assert m.unplugged == "heater"
    assert str(m).endswith("heater unplugged")
    assert measurement_from_row(m.as_row(), CIRCUIT, "m") == m


def test_the_chains_own_load_is_unplugged_by_either_key() -> None:
    row = {"quantity": "voltage", "at": "plug_feed", "to": "plug_ground", "value": 12.0}
    assert measurement_from_row(row | {"unplugged": "pump"}, CIRCUIT, "m") == measurement_from_row(
        row | {"load": "unplugged"}, CIRCUIT, "m"
    )


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ({"replaced": "fuse", "unplugged": "relay", "result": "dead"}, "'relay' is neither"),
        ({"replaced": "fuse", "unplugged": "pump", "result": "runs"}, "'pump' is unplugged"),
        ({"replaced": "fuse", "unplugged": 3, "result": "dead"}, "the name of a load"),
        ({"compared": "relay", "unplugged": "heater", "result": "alike"}, "needs no 'unplugged'"),
    ],
)
def test_what_cannot_be_is_refused_in_a_sentence(row: dict[str, object], said: str) -> None:
    with pytest.raises(CircuitError, match=said):
        trial_from_row(row, CIRCUIT, "tried 1:")


@pytest.mark.parametrize(
    "text",
    [
        "replaced fuse, heater unplugged: runs",
        "replaced fuse runs, heater unplugged",
        "swap fuse, Heater unplugged runs",
    ],
)
def test_a_trial_is_typed_as_it_is_said(text: str) -> None:
    row = typed_trial(text, CIRCUIT)
    assert row == {"replaced": "fuse", "unplugged": "heater", "result": "runs"}
    assert trial_from_row(row, CIRCUIT, "t").as_row() == row


def test_a_reading_is_typed_with_it() -> None:
    assert typed_unplugged("12,4 V, heater unplugged", CIRCUIT) == ("12,4 V", {"unplugged": "heater"})
    assert typed_place("plug_feed to plug_ground, crank, heater unplugged", CIRCUIT) == {
        "at": "plug_feed",
        "to": "plug_ground",
        "state": "crank",
        "unplugged": "heater",
    }


def test_the_instruction_says_what_to_unplug_and_where_to_measure() -> None:
    m = measurement_from_row(HEATER | {"value": 9.0}, CIRCUIT, "m")
    assert instruction(CIRCUIT, m).unplug == (
        "unplug heater feed pin and heater ground pin, and measure on the load's half"
    )
