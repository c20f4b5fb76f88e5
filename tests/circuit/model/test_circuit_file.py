"""Circuits from TOML: what is wrong is named."""

import math
from pathlib import Path
from typing import Any

import pytest

from meterlog.circuit import circuit_from_table, load_circuit, template_names
from meterlog.circuit.readings.from_file import MOST_READINGS, load_measured, measured_from_table, refuse_too_many
from meterlog.errors import CircuitError

PARTS: list[dict[str, Any]] = [
    {"id": "battery", "kind": "battery"},
    {"id": "fuse", "kind": "fuse"},
    {"id": "pump", "kind": "motor", "current_a": 5.0},
]


@pytest.mark.parametrize("name", template_names())
def test_every_template_loads_and_probes_reach_all_around(name: str) -> None:
    circuit = load_circuit(name)
    assert circuit.parts[0].kind == "battery"
    assert len({circuit.node(p.id) for p in circuit.points}) == len(circuit.parts) - len(circuit.branches)


@pytest.mark.parametrize(
    ("table", "names"),
    [
        ({}, "'part' is missing"),
        ({"part": PARTS[1:]}, "first 'part'"),
        ({"part": [*PARTS, {"id": "second", "kind": "battery"}]}, "'second' is a second battery.*first part"),
        ({"part": [*PARTS, {"id": "lamp", "kind": "load"}]}, "'lamp' is a second load.*'pump'.*resistance_ohm"),
        ({"part": [{**part, "fault_rate": 0} for part in PARTS]}, "every part has fault_rate = 0"),
        ({"part": [*PARTS[:2], {"id": "lamp", "kind": "load", "resistance_ohm": 0}]}, "part 'lamp'.*from 0.001 up"),
        ({"part": [*PARTS[:2], {**PARTS[2], "resistance_ohm": 10}]}, "5 A through 10 ohm need 50 V"),
        ({"part": [*PARTS[:2], {**PARTS[2], "current_a": 1e300}]}, "'current_a' must be .* 0.001 to 5000, not 1e.300"),
        ({"part": [*PARTS[:2], {**PARTS[2], "access_min": 10**400}]}, "'access_min' must be .*, not 1000.*\\.\\.\\."),
        (
            {"part": [*PARTS, *({"id": f"w{k}", "kind": "wire"} for k in range(38))]},
            "41 entries of 'part' are too many",
        ),
        ({"part": [*PARTS, {"id": "x", "kind": "resistor", "by_design": True}]}, "by_design.*resistance_ohm"),
        ({"part": [*PARTS, {"id": "x", "kind": "wire", "by_design": "yes"}]}, "'by_design' must be true or false"),
        ({"part": [*PARTS, {"id": "x", "kind": "wire", "command": "coil"}]}, "nothing closes a wire"),
        ({"part": [*PARTS, {"id": "x", "kind": "switch", "command": 4}]}, "'command' must be text in quotes, not 4"),
        ({"part": [*PARTS, {"id": 5, "kind": "wire"}]}, "part 4 'id' must be text in quotes, not 5"),
        ({"part": [*PARTS, {"id": " ", "kind": "wire"}]}, "part 4 has no 'id'"),
        ({"part": [*PARTS, {"id": "a\x1b[2J", "kind": "wire"}]}, r"part 4 'id' must be one line.*x1b"),
        ({"part": [*PARTS, {"id": "x" * 5000, "kind": "wire"}]}, r"part 4 'id' must be .* 80 .*xxx\.\.\.$"),
        ({"part": [*PARTS, {"id": "x"}]}, "'kind' must be one of .*; it is missing"),
        ({"name": "two\nlines", "part": PARTS}, "'name' must be one line"),
        ({"name": 5, "part": PARTS}, "'name' must be text in quotes, not 5"),
        ({"part": PARTS, "point": [{"id": "a"}]}, "point 'a': 'after' is missing"),
        ({"part": PARTS, "point": [{"id": "squib_plug", "after": "fuse"}]}, "restraint"),
        ({"part": PARTS, "active": ["isolated"]}, "active"),
        ({"part": PARTS[:2]}, "motor or load"),
        ({"part": [*PARTS, {"id": "x", "kind": "wyre"}]}, "part 'x'.*'kind'"),
        ({"part": [*PARTS, {"id": "x", "kind": "wire", "acess_min": 3}]}, "part 'x'.*acess_min.*access_min"),
        ({"part": [*PARTS, {"id": "x", "kind": "wire", "access_min": -1}]}, "part 'x'.*access_min"),
        ({"part": [*PARTS, {"kind": "wire"}]}, "no 'id'"),
        ({"part": [*PARTS, PARTS[1]]}, "'fuse' is used twice"),
        ({"part": PARTS, "point": [{"id": "a", "after": "fuze"}]}, "'fuze'.*fuse"),
        ({"part": PARTS, "parts": []}, "unknown key 'parts'"),
        ({"part": "all"}, "list of tables"),
        ({"part": PARTS, "active": ["driving"]}, "active"),
        ({"part": PARTS, "system_v": 400}, "60 V"),
        ({"part": [*PARTS, {"id": "airbag_plug", "kind": "connector"}]}, "restraint"),
        ({"name": "HV contactor", "part": PARTS}, "high-voltage"),
    ],
)
def test_what_is_wrong_with_a_circuit_is_named(table: dict[str, Any], names: str) -> None:
    with pytest.raises(CircuitError, match=names):
        circuit_from_table(table)


@pytest.mark.parametrize(
    ("row", "names"),
    [
        ({"at": "plug_fed", "value": 1}, "'plug_fed'.*plug_feed"),
        ({"at": "plug_feed", "to": "bodi", "value": 1}, "'bodi'.*body"),
        ({"at": "plug_feed"}, "'value'"),
        ({"at": "plug_feed", "value": "open"}, "'value'"),
        ({"at": "plug_feed", "value": 1, "state": "driving"}, "'state'"),
        ({"at": "plug_feed", "value": 1, "load": "off"}, "'load'"),
        ({"at": "plug_feed", "value": 1, "quantity": "volts"}, "'quantity'"),
        ({"at": "plug_feed", "value": 1, "quantity": "resistance", "state": "key_on"}, "de-energised"),
        ({"at": "plug_feed", "value": 1, "eror": 1}, "eror"),
        ({"at": "srs_plug", "value": 1}, "restraint"),
        ({"at": "body", "to": "air bag", "value": 1}, "restraint"),
        ({"at": "plug_feed", "to": "plug_feed", "value": 1}, "both probes are at 'plug_feed'"),
        ({"at": "battery_minus", "value": 1}, "both probes are at 'battery_minus'"),
        ({"at": "plug_feed", "value": math.inf}, "'value' cannot be inf"),
        ({"at": "plug_feed", "value": 12, "error": 1e300}, "'error' must be a number from 0 to 30"),
        ({"at": "body", "value": -1, "quantity": "resistance"}, "'value' cannot be -1"),
    ],
)
def test_what_is_wrong_with_a_reading_is_named(row: dict[str, Any], names: str) -> None:
    with pytest.raises(CircuitError, match=names):
        measured_from_table({"measured": [{"quantity": "voltage"} | row]}, load_circuit("pump-feed"))


@pytest.mark.parametrize(
    ("row", "names"),
    [
        ({"feed": "battery", "into": "pump_plus", "replaced": "pump", "result": "runs"}, "separate trials"),
        ({"into": "pump_plus"}, "'result' must be one of .*; it is missing"),
        ({"feed": "pump_plus", "into": "pump_plus", "result": "runs"}, "into itself"),
        ({"feed": "battery", "result": "runs"}, "'feed' and 'into'"),
        ({"replaced": "airbag", "result": "dead"}, "restraint"),
    ],
)
def test_what_is_wrong_with_a_trial_is_named(row: dict[str, Any], names: str) -> None:
    with pytest.raises(CircuitError, match=f"tried 1: .*{names}"):
        measured_from_table({"tried": [row]}, load_circuit("pump-feed"))


def test_more_readings_than_can_be_weighed_are_refused_at_once() -> None:
    rows = [{"quantity": "voltage", "at": "plug_feed", "value": 12.0}] * (MOST_READINGS + 1)
    with pytest.raises(CircuitError, match="61 entries of 'measured' are too many: at most 60"):
        measured_from_table({"measured": rows}, load_circuit("pump-feed"))
    circuit = load_circuit("pump-feed")
    some, _ = measured_from_table({"measured": rows[:40]}, circuit)
    with pytest.raises(CircuitError, match="80 readings are too many"):
        refuse_too_many([*some, *some], circuit)
    refuse_too_many([*some, *some[:20]], circuit)


def test_a_long_circuit_takes_fewer_readings_so_that_the_answer_still_comes() -> None:
    wires = [{"id": f"w{k}", "kind": "wire"} for k in range(37)]
    circuit = circuit_from_table({"part": [*PARTS, *wires]})
    rows = [{"quantity": "voltage", "at": "w3", "value": 12.0}] * 21
    assert len(measured_from_table({"measured": rows[:20]}, circuit)[0]) == 20
    with pytest.raises(CircuitError, match="at most 20"):
        measured_from_table({"measured": rows}, circuit)


def test_the_least_that_the_contract_asks_for_is_enough() -> None:
    circuit = circuit_from_table(
        {
            "part": [
                {"id": "battery", "kind": "battery"},
                {"id": "F12/15A", "kind": "fuse", "access_min": 2},
                {"id": "series lamp", "kind": "load", "resistance_ohm": 3},
                {"id": "pump", "kind": "motor"},
            ],
            "truth": {"parts": 7},
        },
        "car.toml",
    )
    assert circuit.name == "car"
    measured, _ = measured_from_table({"measured": [{"quantity": "voltage", "at": "F12/15A", "value": 12}]}, circuit)
    assert measured[0].value == 12.0
    assert measured[0].to == "battery_minus"
    across, _ = measured_from_table(
        {"measured": [{"quantity": "voltage_drop", "at": "F12/15A", "to": "F12/15A", "value": 0}]}, circuit
    )
    assert across[0].place == "across F12/15A at key-on"


def test_a_folder_that_speaks_of_danger_does_not_make_its_circuits_dangerous(tmp_path: Path) -> None:
    path = tmp_path / "hybrids" / "horn.toml"
    path.parent.mkdir()
    path.write_text('part = [{id = "b", kind = "battery"}, {id = "horn", kind = "load"}]')
    assert load_circuit(path).name == "horn"


def test_a_list_of_readings_with_a_misspelt_name_is_not_taken_for_an_empty_one(tmp_path: Path) -> None:
    path = tmp_path / "m.toml"
    circuit = load_circuit("pump-feed")
    path.write_text("mesured = []")
    with pytest.raises(CircuitError, match=r"'mesured' \(near it: measured"):
        load_measured(path, circuit, templates=False)
    path.write_text('note = "none yet"')
    with pytest.raises(CircuitError, match="neither 'measured' nor 'tried'"):
        load_measured(path, circuit, templates=False)


def test_a_trial_without_a_known_result_is_refused() -> None:
    with pytest.raises(CircuitError, match=r"tried 1.*'result'"):
        measured_from_table({"tried": [{"into": "pump_plus", "result": "maybe"}]}, load_circuit("pump-feed"))


def test_no_such_file_names_the_templates() -> None:
    with pytest.raises(CircuitError, match="pump-feed"):
        load_circuit("pump-fed")
