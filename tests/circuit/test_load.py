"""Circuits from TOML: what is wrong is named."""

from pathlib import Path
from typing import Any

import pytest

from meterlog.circuit import circuit_from_table, load_circuit, template_names
from meterlog.circuit.measured import measured_from_table
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
    assert len({circuit.node(p.id) for p in circuit.points}) == len(circuit.parts)


@pytest.mark.parametrize(
    ("table", "names"),
    [
        ({"part": PARTS[1:]}, "first 'part'"),
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
    ],
)
def test_what_is_wrong_with_a_reading_is_named(row: dict[str, Any], names: str) -> None:
    with pytest.raises(CircuitError, match=names):
        measured_from_table({"measured": [{"quantity": "voltage"} | row]}, load_circuit("pump-feed"))


def test_a_trial_without_a_known_result_is_refused() -> None:
    with pytest.raises(CircuitError, match=r"tried 1.*'result'"):
        measured_from_table({"tried": [{"into": "pump_plus", "result": "maybe"}]}, load_circuit("pump-feed"))


def test_no_such_file_names_the_templates() -> None:
    with pytest.raises(CircuitError, match="pump-feed"):
        load_circuit("pump-fed")


def test_a_file_that_is_not_toml_is_one_sentence(tmp_path: Path) -> None:
    path = tmp_path / "c.toml"
    path.write_text("part = [")
    with pytest.raises(CircuitError, match="is not TOML"):
        load_circuit(path)
