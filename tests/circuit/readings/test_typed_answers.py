"""Checks what a person types: readings as meters show them, names as people write them."""

from __future__ import annotations

import math

import pytest

from meterlog.circuit import load_circuit
from meterlog.circuit.readings.typed_answers import typed_id, typed_lamp, typed_trial, typed_value
from meterlog.errors import UsageError


@pytest.mark.parametrize(
    ("text", "quantity", "value"),
    [
        ("12.4", "voltage", 12.4),
        ("12,4", "voltage", 12.4),
        ("-0,123 V", "voltage_drop", -0.123),
        ("12.4V", "voltage", 12.4),
        ("12.4 V DC", "voltage", 12.4),
        ("12300 mV", "voltage", 12.3),
        ("12300mv", "voltage", 12.3),
        ("3 Volts", "voltage", 3.0),
        ("480 mA", "current", 0.48),
        ("4.8A", "current", 4.8),
        ("2,5", "resistance", 2.5),
        ("2.2 kohm", "resistance", 2200.0),
        ("2.2kΩ", "resistance", 2200.0),
        ("2.2k", "resistance", 2200.0),
        ("1.5 M", "resistance", 1.5e6),
        ("500 mohm", "resistance", 0.5),
        ("OL", "resistance", math.inf),
        ("O.L", "resistance", math.inf),
        ("OL MΩ", "resistance", math.inf),
        ("overload", "resistance", math.inf),
        ("Open", "resistance", math.inf),
    ],
)
def test_a_reading_is_understood_as_the_meter_shows_it(text: str, quantity: str, value: float) -> None:
    assert typed_value(text, quantity) == value


@pytest.mark.parametrize(
    ("text", "quantity", "said"),
    [
        ("1,234", "voltage", "decimal comma or a thousand"),
        ("12 MV", "voltage", "milli or mega"),
        ("12.4 A", "voltage", "not a reading in V"),
        ("12.4 V", "resistance", "not a reading in ohm"),
        ("OL", "voltage", "next higher range"),
        ("open", "current", "next higher range"),
        ("wet", "resistance", "not a number.*'open'"),
        ("12.4.3", "voltage", "not a number"),
        ("nan", "voltage", "not a number"),
        ("--", "voltage", "not a number"),
    ],
)
def test_what_is_none_or_can_be_two_is_refused_in_one_sentence(text: str, quantity: str, said: str) -> None:
    with pytest.raises(UsageError, match=said):
        typed_value(text, quantity)


@pytest.mark.parametrize(
    ("text", "row"),
    [
        ("fed pump_plus runs", {"feed": "battery", "into": "pump_plus", "result": "runs"}),
        ("feed battery into Pump Plus Runs", {"feed": "battery", "into": "pump_plus", "result": "runs"}),
        ("fed pump_plus from fuse-out no change", {"feed": "fuse_out", "into": "pump_plus", "result": "no change"}),
        ("fed into pump_plus: dead", {"feed": "battery", "into": "pump_plus", "result": "dead"}),
        ("replaced relay dead", {"replaced": "relay", "result": "dead"}),
        ("Replaced Feed Wire, fixed", {"replaced": "feed_wire", "result": "fixed"}),
        ("replaced fuze dead", {"replaced": "fuze", "result": "dead"}),
        ("12.4", None),
    ],
)
def test_what_was_tried_is_understood(text: str, row: dict[str, object] | None) -> None:
    assert typed_trial(text, load_circuit("pump-feed")) == row


@pytest.mark.parametrize("text", ["fed", "fed runs", "replaced relay", "feed pump_plus"])
def test_a_trial_without_its_end_is_asked_for(text: str) -> None:
    with pytest.raises(UsageError, match=r"for example '(fed pump_plus runs|replaced relay dead)'"):
        typed_trial(text, load_circuit("pump-feed"))


def test_names_are_found_without_regard_to_case_blanks_and_hyphens_but_never_guessed() -> None:
    ids = ["B+", "br wire", "br_wire_2", "X3:1", "a_b", "a b"]
    assert typed_id("b+", ids) == "B+"
    assert typed_id("Br-Wire", ids) == "br wire"
    assert typed_id("a b", ids) == "a b"
    assert typed_id("A-B", ids) is None
    assert typed_id("wire", ids) is None


@pytest.mark.parametrize(
    ("text", "row", "place"),
    [
        ("dim", {"value": "dim"}, ""),
        ("lamp Bright 5 W", {"value": "bright", "watt": 5.0}, ""),
        ("led dark", {"value": "dark", "kind": "led"}, ""),
        (
            "lamp glowing 2,5W at plug ground to battery_plus, crank",
            {"value": "glowing", "watt": 2.5},
            "plug ground to battery_plus, crank",
        ),
    ],
)
def test_a_lamp_is_typed_as_it_is_seen(text: str, row: dict[str, object], place: str) -> None:
    assert typed_lamp(text) == ({"quantity": "lamp", **row}, place)


@pytest.mark.parametrize("text", ["12.4", "lamp", "lamp half", "open"])
def test_what_is_no_lamp_is_left_to_others(text: str) -> None:
    assert typed_lamp(text) is None
