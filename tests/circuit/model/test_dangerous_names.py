"""Names of restraint and high-voltage circuits are refused; the usual names of others are not."""

from __future__ import annotations

import pytest

from meterlog.circuit.model.dangerous_names import danger

DANGEROUS = """airbag;air bag;AIR-BAG plug;AirBagPlug;side_airbag2;squib;inflator;side curtain;belt tensioner;HV
seat_belt_buzzer;belt pretensioner wire;SRS_wire;srs2;restraint control;passenger bag;occupant sensor;crash-sensor
HV_battery_cable;HVBattery;X-HV-3;high voltage;high-voltage;highvoltage;ignition high tension;hybrid battery;inverter
traction_battery;orange cable;dc_dc converter;DC/DC;ev pump;PHEV charger;charge_port;e-machine"""
HARMLESS = """HVAC blower;hvac_fan;inertia_switch;seat heater;evap valve;level sender;revision;traction control;bag
main contactor;48 V starter;heater driver;driver;orange_wire;belt;glow_plug;catalytic converter;pump;tail_lamp
Masse hinten;85/86 ECU"""


@pytest.mark.parametrize("name", [name.strip() for line in DANGEROUS.splitlines() for name in line.split(";")])
def test_restraint_and_high_voltage_names_are_refused(name: str) -> None:
    assert "never probe" in danger(name)


@pytest.mark.parametrize("name", [name.strip() for line in HARMLESS.splitlines() for name in line.split(";")])
def test_usual_names_are_not(name: str) -> None:
    assert not danger(name)


def test_the_sentence_says_which_word_and_what_to_do_if_it_is_harmless() -> None:
    assert "('pretensioner')" in danger("belt pretensioner wire")
    assert "give it another name" in danger("ev")
