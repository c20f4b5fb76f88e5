"""Checks that what good parts lose says little of a fault; a first look that showed nothing is seldom a loose
contact."""

import pytest

from meterlog.circuit import load_circuit
from meterlog.circuit.diagnosis import Diagnoser
from meterlog.circuit.readings.measurement import Measurement


@pytest.fixture(scope="module")
def pump() -> Diagnoser:
    return Diagnoser(load_circuit("pump-feed"))


def v(at: str, value: float, to: str = "battery_minus") -> Measurement:
    return Measurement("voltage", at, to, "key_on", value=value)


def test_parts_that_lose_next_to_nothing_hardly_speak_for_an_open_circuit(pump: Diagnoser) -> None:
    before = pump.diagnose([v("fuse_out", 12.5)], suggestions=0).healthy
    small = [v("fuse_out", 12.5), v("body", 0.0), Measurement("voltage_drop", "relay", "relay", "key_on", value=0.02)]
    assert pump.diagnose(small, suggestions=0).healthy > 0.5 * before


def test_a_first_nothing_that_reads_well_again_is_less_of_a_loose_contact_than_the_reverse(pump: Diagnoser) -> None:
    probe_slipped = pump.diagnose([v("plug_feed", 0.0), v("plug_feed", 12.3)], suggestions=0)
    went_away = pump.diagnose([v("plug_feed", 12.3), v("plug_feed", 0.0)], suggestions=0)
    assert probe_slipped.comes_and_goes < 0.8 * went_away.comes_and_goes
    assert probe_slipped.healthy > 2 * went_away.healthy


def test_a_circuit_that_reads_well_all_along_ends_as_one_that_does_its_work(pump: Diagnoser) -> None:
    rows = [v("fuse_out", 12.5), v("plug_feed", 12.3), v("pump_plus", 12.1, "pump_minus"), v("pump_minus", 0.06)]
    rows += [Measurement("current", "fuse", state="key_on", value=5.1), v("relay_out", 12.4)]
    rows += [Measurement("voltage", "relay_out", state="off", value=0.0)]
    rows += [Measurement("voltage", "plug_feed", state="crank", value=10.6)]
    found = pump.diagnose(rows)
    assert found.decided == "healthy"
    assert found.next == ()
