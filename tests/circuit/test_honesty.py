"""Checks what keeps probabilities honest: slips that are paid for, contacts that come and go, a stopped engine."""

import pytest

from meterlog.circuit import load_circuit
from meterlog.circuit.diagnosis import Diagnoser, Diagnosis
from meterlog.circuit.next_measurement.candidates import candidates, useful_states
from meterlog.circuit.probability.bad_readings import log_bad_count
from meterlog.circuit.readings.measurement import Measurement


def v(at: str, value: float, to: str = "battery_minus", state: str = "key_on", load: str = "connected") -> Measurement:
    return Measurement("voltage", at, to, state, load, value)


@pytest.fixture(scope="module")
def pump() -> Diagnoser:
    return Diagnoser(load_circuit("pump-feed"))


@pytest.fixture(scope="module")
def starter() -> Diagnoser:
    return Diagnoser(load_circuit("starter-control"))


def of(found: Diagnosis, part: str) -> float:
    return next((h.probability for h in found.hypotheses if h.part == part), 0.0)


def test_who_slipped_once_is_taken_to_slip_more_often() -> None:
    first = log_bad_count(1, 8) - log_bad_count(0, 8)
    second = log_bad_count(2, 8) - log_bad_count(1, 8)
    assert second > first + 0.5


def test_a_good_reading_before_a_contact_clears_it_of_coming_and_going(pump: Diagnoser) -> None:
    changing = [v("plug_feed", 12.2), v("plug_feed", 0.0), v("plug_feed", 12.1)]
    cleared = [*changing, *([v("relay_out", 12.3)] * 4)]
    before, after = (pump.diagnose(ms, suggestions=0) for ms in (changing, cleared))
    assert of(after, "relay") / of(after, "feed_wire") < 0.5 * of(before, "relay") / of(before, "feed_wire")


@pytest.mark.parametrize("low", [0.0, 0.1, 0.2, 6.0])
def test_a_contact_may_come_and_go_without_opening_fully(pump: Diagnoser, low: float) -> None:
    readings = [v("plug_feed", 12.2), v("plug_feed", low), v("plug_feed", 12.2), v("plug_feed", low)]
    found = pump.diagnose(readings, suggestions=0)
    assert found.hypotheses[0].fault == "intermittent"
    assert "comes and goes" in found.verdict


def test_a_tenth_of_a_volt_of_hum_is_nothing(pump: Diagnoser) -> None:
    shares = [
        of(pump.diagnose([v("fuse_out", 12.4), v("relay_coil", 12.3), v("relay_out", low)], suggestions=0), "relay")
        for low in (0.0, 0.05, 0.1, 0.2)
    ]
    assert min(shares) > 0.6


def test_a_reading_that_fits_nothing_is_named(pump: Diagnoser) -> None:
    found = pump.diagnose([v("fuse_out", 15.5), v("battery_plus", 12.4), v("fuse_in", 12.4)], suggestions=0)
    assert any("fits nothing" in sentence for sentence in found.inconsistent)


def test_a_wire_of_one_strand_reads_good_on_ohms_and_is_still_found(pump: Diagnoser) -> None:
    ohms = Measurement("resistance", "switch_out", "plug_feed", "isolated", value=0.4)
    found = pump.diagnose([ohms, v("switch_out", 12.3), v("plug_feed", 3.1), v("plug_feed", 3.0)], suggestions=0)
    assert found.hypotheses[0].part == "feed_wire"


def test_a_starter_with_full_voltage_that_does_not_load_the_battery_is_not_called_healthy(starter: Diagnoser) -> None:
    def cranking(battery_plus: float, stud: float) -> Diagnosis:
        volts = {"battery_plus": battery_plus, "solenoid_stud": stud, "starter_case": 0.05}
        return starter.diagnose([v(at, value, state="crank") for at, value in volts.items()], suggestions=0)

    stands, turns = cranking(12.4, 12.2), cranking(10.4, 10.1)
    assert stands.hypotheses[0].part == "solenoid"
    assert of(stands, "solenoid") > stands.healthy
    assert of(stands, "battery") < 0.02, "12.4 V while the key is turned is no battery that gives way"
    odds, odds_turning = (found.healthy / (1 - found.healthy) for found in (stands, turns))
    assert odds < odds_turning / 3


def test_a_charging_circuit_is_never_opened_while_it_charges() -> None:
    allowed = candidates(load_circuit("charging"), [])
    assert {m.load for m in allowed if m.state == "run"} == {"connected"}


def test_cranking_is_suggested_where_a_command_may_come_only_then() -> None:
    assert "crank" in useful_states(load_circuit("pump-feed"), [])
    assert "crank" not in useful_states(load_circuit("lamp"), [])
    assert useful_states(load_circuit("pump-feed"), [v("fuse_out", 11.0, state="crank")]) == ["crank"]


@pytest.mark.parametrize("state", ["key_on", "crank", "run"])
def test_a_battery_is_not_believed_the_less_the_worse_it_reads(pump: Diagnoser, state: str) -> None:
    first = {"key_on": 11.0, "crank": 7.0, "run": 11.5}[state]
    volts = [first, *(float(x) for x in range(10, 0, -1) if x < first)]
    chances = [of(pump.diagnose([v("battery_plus", x, state=state)], suggestions=0), "battery") for x in volts]
    assert min(chances) > 0.55
    for k, chance in enumerate(chances):
        assert chance > max(chances[: k + 1]) - 0.07, (volts[k], chance)


def test_a_command_may_come_and_go(pump: Diagnoser) -> None:
    flicker = [v("relay_out", x, state="run") for x in (13.8, 0.0, 13.8, 0.0)]
    coil = [Measurement("voltage", "relay_coil", state="run", value=x, at_coil=True) for x in (13.8, 0.0, 13.8, 0.0)]
    found = pump.diagnose([*flicker, *coil], suggestions=3)
    assert (found.hypotheses[0].part, found.hypotheses[0].fault) == ("relay_coil", "intermittent")
    steady = [Measurement("voltage", "relay_coil", state="run", value=13.8, at_coil=True)] * 4
    assert of(pump.diagnose([*flicker, *steady], suggestions=0), "relay_coil") < 0.1
