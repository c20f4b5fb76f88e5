"""Readings that no vehicle can give are named, with what was probably meant; unusual but possible ones are taken."""

from __future__ import annotations

import math

import pytest

from meterlog.circuit import Circuit, Part, load_circuit
from meterlog.circuit.readings.from_file import measured_from_table
from meterlog.circuit.readings.impossible_values import impossible
from meterlog.errors import CircuitError


@pytest.mark.parametrize("value", [31, -31, 124, 999, 12400, 1e9, 1e300, 10**400, -(10**400)], ids=lambda v: str(v)[:9])
def test_volts_that_a_12_v_system_cannot_give_are_refused_in_one_sentence(value: float) -> None:
    table = {"measured": [{"quantity": "voltage", "at": "plug_feed", "value": value}]}
    with pytest.raises(CircuitError, match=r"measured 1: .* more than a 12 V system can give \(30 V .*mV"):
        measured_from_table(table, load_circuit("pump-feed"))


@pytest.mark.parametrize("value", [0, -12.4, 15.9, 18.5, 28.8])
def test_a_failed_regulator_a_24_v_helper_and_crossed_leads_can_be_entered(value: float) -> None:
    table = {"measured": [{"quantity": "voltage", "at": "plug_feed", "value": value}]}
    measured, _ = measured_from_table(table, load_circuit("pump-feed"))
    assert measured[0].value == value


@pytest.mark.parametrize(("system_v", "highest_v"), [(6, 15), (12, 30), (24, 60), (48, 60)])
def test_the_bound_follows_the_system_and_ends_at_60_v(system_v: float, highest_v: float) -> None:
    circuit = Circuit("c", system_v, (Part("battery", "battery"), Part("lamp", "load")), ())
    assert not impossible("voltage", highest_v, circuit)
    assert impossible("voltage", highest_v + 0.1, circuit)


def test_amperes_end_where_the_wires_would_let_no_more_through_a_shorted_load() -> None:
    pump, starter = (
        load_circuit("pump-feed"),
        Circuit(
            "starter",
            12.0,
            (Part("battery", "battery", resistance_ohm=0.004), Part("starter", "motor", current_a=180.0)),
            (),
        ),
    )
    assert "mA meant" in impossible("current", 4800, pump)
    assert not impossible("current", 60, pump)
    assert not impossible("current", 900, starter)


def test_ohms_end_where_meters_show_overload() -> None:
    circuit = load_circuit("pump-feed")
    assert "'open'" in impossible("resistance", 1e12, circuit)
    assert not impossible("resistance", 40e6, circuit)
    assert not impossible("resistance", math.inf, circuit)
