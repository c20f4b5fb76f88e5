"""A reading that no fault makes is met with what usually makes it, and nothing ordinary is."""

from __future__ import annotations

import pytest

from meterlog.circuit.diagnosis import diagnose
from meterlog.circuit.model.circuit_file import load_circuit
from meterlog.circuit.readings.measurement import Measurement
from meterlog.circuit.readings.suspicious_readings import stays_on, suspicious

PUMP, CHARGING, LAMP = (load_circuit(name) for name in ("pump-feed", "charging", "lamp"))


def volts(at: str, value: float, state: str = "key_on", to: str = "battery_minus") -> Measurement:
    return Measurement("voltage", at, to, state, value=value)


@pytest.mark.parametrize(
    ("reading", "said"),
    [
        (volts("fuse_in", -12.4), "leads are crossed"),
        (volts("plug_feed", 24.6), "more than a healthy 12 V system ever charges at"),
        (volts("battery_plus", 0.0), "prove the meter"),
        (Measurement("current", "fuse", value=-4.8), "flows backwards"),
    ],
)
def test_an_odd_reading_is_named_with_what_makes_it(reading: Measurement, said: str) -> None:
    assert said in suspicious(reading, PUMP)
    assert any(said in sentence for sentence in diagnose(PUMP, [reading]).inconsistent)


@pytest.mark.parametrize(
    "reading",
    [
        volts("fuse_in", 15.0, "run"),
        volts("fuse_in", -0.02),
        volts("plug_ground", -1.0, "run"),
        volts("plug_feed", 0.0),
        volts("pump_minus", -12.4, to="pump_plus"),
        Measurement("current", "fuse", value=0.0),
        Measurement("resistance", "pump_plus", "pump_minus", "isolated", value=1.1),
    ],
)
def test_nothing_ordinary_is_odd(reading: Measurement) -> None:
    assert suspicious(reading, PUMP) == ""


def test_a_battery_may_be_charged_or_discharged() -> None:
    assert suspicious(Measurement("current", "charge_wire", state="run", value=-30.0), CHARGING) == ""


def test_what_is_live_with_the_key_off_comes_first_in_the_verdict() -> None:
    found = diagnose(PUMP, [volts("relay_out", 12.4, "off"), Measurement("current", "fuse", state="off", value=4.9)])
    assert found.verdict.startswith("live with the key off, though relay should be open")
    assert len(found.inconsistent) == 1


@pytest.mark.parametrize(
    "reading",
    [
        volts("fuse_out", 12.4, "off"),
        volts("relay_out", 0.3, "off"),
        volts("relay_coil", 12.4, "off"),
        volts("relay_out", 12.4, "key_on"),
        Measurement("current", "fuse", state="off", value=0.02),
    ],
)
def test_what_may_be_live_or_is_not_is_no_matter(reading: Measurement) -> None:
    assert stays_on([reading], PUMP) == ""


def test_a_lamp_may_burn_with_the_key_off() -> None:
    assert stays_on([volts("switch_out", 12.4, "off")], LAMP) == ""
