"""Checks what was measured and tried, from a table: what each key means, and what is refused in one sentence."""

from __future__ import annotations

from math import inf
from typing import Any

import pytest

from meterlog.circuit import load_circuit
from meterlog.circuit.readings.from_file import measured_from_table
from meterlog.circuit.readings.measurement import Measurement
from meterlog.circuit.readings.trial import Tried
from meterlog.errors import CircuitError

CIRCUIT = load_circuit("pump-feed")


def one(**row: Any) -> Measurement:
    (found,), _ = measured_from_table({"measured": [row]}, CIRCUIT)
    return found


def test_what_is_not_said_is_what_is_usual() -> None:
    plain = one(quantity="voltage", at="plug_feed", value=12.1)
    assert plain == Measurement("voltage", "plug_feed", "battery_minus", "key_on", "connected", 12.1, None)
    assert one(quantity="resistance", at="fuse", value=0.2).state == "isolated"
    assert one(quantity="resistance", at="fuse", value=0.2).to == "fuse"
    assert one(quantity="voltage_drop", at="relay", value=0.2).to == "relay"
    assert one(quantity="voltage", at="plug_feed", to="plug_ground", value=12.1).to == "plug_ground"


def test_a_reading_at_a_command_is_said_to_be_across_it() -> None:
    for more in ({}, {"to": "battery_minus"}):
        assert str(one(quantity="voltage", at="relay_coil", value=0.0, **more)) == "0 V across relay_coil at key-on"
    with pytest.raises(CircuitError, match="unknown key 'at_coil'"):
        one(quantity="voltage", at="relay_coil", value=0.0, at_coil=True)


def test_a_stated_error_is_kept_and_open_is_infinite() -> None:
    assert one(quantity="voltage", at="plug_feed", value=12.1, error=0.5).error == 0.5
    assert one(quantity="resistance", at="fuse", value="open").value == inf
    for value in ("open", "much"):
        with pytest.raises(CircuitError, match="'value'"):
            one(quantity="voltage", at="plug_feed", value=value)


@pytest.mark.parametrize(
    ("row", "message"),
    [
        ({"quantity": "voltage", "at": "plug_fed", "value": 1.0}, "plug_feed"),
        ({"quantity": "volts", "at": "plug_feed", "value": 1.0}, "'quantity'"),
        ({"quantity": "voltage", "at": "plug_feed", "vale": 1.0}, "unknown key 'vale'.*value"),
        ({"quantity": "resistance", "at": "fuse", "state": "key_on", "value": 1.0}, "de-energised"),
        ({"quantity": "voltage", "at": "fuse_in", "state": "isolated", "value": 1.0}, "an isolated circuit has no"),
        ({"quantity": "voltage", "at": "fuse_in", "to": "fuse_in", "value": 1.0}, "both probes are at 'fuse_in'"),
    ],
)
def test_a_wrong_measurement_is_refused(row: dict[str, Any], message: str) -> None:
    with pytest.raises(CircuitError, match=f"measured 1: .*{message}"):
        one(**row)


def test_what_was_tried_is_a_feed_a_bridge_or_a_new_part() -> None:
    rows = [
        {"into": "pump_plus", "result": "runs"},
        {"feed": "battery_minus", "into": "pump_minus", "result": "dead"},
        {"replaced": "relay", "result": "runs"},
        {"replaced": "fuse", "result": "blew"},
        {"bridged": "relay_coil", "result": "no change"},
    ]
    _, (fed, earthed, replaced, blew, bridged) = measured_from_table({"tried": rows}, CIRCUIT)
    assert fed == Tried("runs", feed="battery", into="pump_plus")
    assert earthed == Tried("dead", feed="battery_minus", into="pump_minus")
    assert replaced == Tried("runs", replaced="relay")
    assert blew == Tried("blew", replaced="fuse")
    assert bridged == Tried("dead", bridged="relay")
    assert [str(blew), str(bridged)] == [
        "fuse replaced, and the fuse blew",
        "relay bridged, and it stayed dead",
    ]
    assert [one.as_row() for one in (earthed, bridged)] == [rows[1], {"bridged": "relay", "result": "dead"}]


@pytest.mark.parametrize(
    ("row", "message"),
    [
        ({"into": "pump_plus", "result": "maybe"}, "'result' must be one of"),
        ({"into": "pump_plus"}, "'result' must be one of"),
        ({"result": "runs"}, "give 'feed' and 'into'"),
        ({"replaced": "relay", "into": "pump_plus", "result": "runs"}, "separate trials"),
        ({"feed": "fuse_out", "into": "fuse_out", "result": "runs"}, "into itself feeds nothing"),
        ({"bridged": "relay", "replaced": "relay", "result": "runs"}, "separate trials"),
        ({"bridged": "pump", "result": "runs"}, "bridging 'pump' is a short circuit"),
        ({"bridged": "battery", "result": "runs"}, "bridging 'battery' is a short circuit"),
        ({"bridged": "fuse_out", "result": "runs"}, "'fuse_out' is a point"),
        ({"into": "pump_plus", "result": "runs", "feeed": "battery"}, "unknown key 'feeed'.*feed"),
    ],
)
def test_a_wrong_trial_is_refused(row: dict[str, Any], message: str) -> None:
    with pytest.raises(CircuitError, match=f"tried 1: .*{message}"):
        measured_from_table({"tried": [row]}, CIRCUIT)


def test_nulled_ohms_are_kept_as_such_and_belong_to_ohms() -> None:
    row: dict[str, Any] = {"quantity": "resistance", "at": "plug_ground", "to": "body", "value": 0.1, "nulled": True}
    (m,), _ = measured_from_table({"measured": [row]}, CIRCUIT)
    assert m.nulled
    assert m.as_row()["nulled"] is True
    with pytest.raises(CircuitError, match="'nulled' must be true or false, and belongs to ohms"):
        measured_from_table(
            {"measured": [{"quantity": "voltage", "at": "fuse_out", "value": 1, "nulled": True}]}, CIRCUIT
        )
