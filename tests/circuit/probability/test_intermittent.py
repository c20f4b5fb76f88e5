"""Checks what readings make of a contact that comes and goes, and what is suggested for it."""

from dataclasses import replace

import numpy as np

from meterlog.circuit import load_circuit
from meterlog.circuit.diagnosis import Diagnoser
from meterlog.circuit.next_measurement.outlook import outlook_of
from meterlog.circuit.readings.measurement import Measurement
from meterlog.circuit.readings.observed import Observed

TOOL = Diagnoser(load_circuit("pump-feed"))
HOT = Observed("only_when_hot", "yes")
GOOD, GONE = Measurement("voltage", "relay_out", value=12.2), Measurement("voltage", "relay_out", value=0.0)
RELAY = TOOL.circuit.part_index["relay"]


def test_a_contact_that_was_good_at_most_readings_is_expected_to_be_good_at_the_next() -> None:
    mostly_good = TOOL.weigh([GOOD] * 5 + [GONE]).good_next[RELAY]
    mostly_gone = TOOL.weigh([GONE] * 5 + [GOOD]).good_next[RELAY]
    assert mostly_gone < 0.45 < 0.55 < mostly_good


def test_what_fails_cold_is_taken_to_fail_cold_though_the_driver_blames_the_heat() -> None:
    unseen, seen = (TOOL.weigh(measured, [HOT]).good_next[RELAY] for measured in ([], [GOOD, GONE, GOOD, GONE]))
    assert seen < unseen - 0.15


def test_a_contact_that_comes_and_goes_is_looked_for_as_soon_as_the_circuit_was_seen_to_fail() -> None:
    unseen, seen = (TOOL.weigh(measured) for measured in ([GOOD], [Measurement("current", "fuse", value=0.0)]))
    assert seen.comes_and_goes.sum() < 0.3
    assert (outlook_of(TOOL.network, unseen).loose < 0).all()
    assert (outlook_of(TOOL.network, seen).loose >= 0).any()


def test_a_solenoid_that_comes_and_goes_is_named_though_the_battery_is_fuller_than_usual() -> None:
    """Where it does not pull in, the engine stands and the battery shows its resting voltage while cranking."""
    places = [("fuse_out", "battery_minus"), ("body", "battery_minus"), ("solenoid_stud", "starter_case")]
    shown = [(0, 10.8), (1, 0.0), (2, 12.85), (0, 10.57), (2, 12.79)]
    measured = [Measurement("voltage", *places[place], state="crank", value=value) for place, value in shown]
    found = Diagnoser(load_circuit("starter-control")).diagnose(measured, suggestions=0)
    assert (found.hypotheses[0].part, found.hypotheses[0].fault) == ("solenoid", "intermittent")
    assert found.outside < 0.5
    assert "fit nothing" not in found.verdict


def test_a_wire_that_comes_and_goes_is_not_taken_for_the_relay_where_that_closes_only_in_crank() -> None:
    def at(point: str, state: str, *values: float) -> list[Measurement]:
        return [Measurement("voltage", point, state=state, value=value) for value in values]

    not_at_key_on = [Measurement("voltage_drop", "fuse_out", "relay_out", value=12.3)] * 2
    measured = [
        *at("fuse_out", "key_on", 12.4),
        *not_at_key_on,
        *at("relay_out", "crank", 10.9),
        *at("plug_feed", "run", 13.3, 0.02, 0.01),
        *at("relay_out", "run", 13.5, 13.6),
        *at("plug_feed", "run", 13.2),
    ]
    found = TOOL.diagnose(measured, suggestions=0)
    assert found.comes_and_goes > 0.9
    assert (found.hypotheses[0].part, found.hypotheses[0].fault) == ("feed_wire", "intermittent")
    assert TOOL.weigh(measured).comes_and_goes[RELAY] < 0.3


def test_no_cell_asks_for_no_unknown() -> None:
    nothing = np.array([], int)
    for measured in ([], [GOOD]):
        mean, spread = TOOL.weigh(measured).unknown(nothing, nothing)
        assert len(mean) == len(spread) == 0


def test_a_circuit_that_works_is_read_once_more_where_a_contact_may_still_come_and_go() -> None:
    """The pump runs at every reading so far; a vehicle given back with a loose contact would cost two hours."""
    works = [
        Measurement("voltage", "fuse_out", value=12.5),
        Measurement("voltage", "relay_out", state="off", value=0.0),
        Measurement("voltage", "pump_plus", "pump_minus", value=12.1),
        Measurement("voltage", "relay_out", state="crank", value=10.6),
        Measurement("current", "fuse", state="run", value=5.3),
    ]
    found = TOOL.diagnose(works)
    assert found.decided == "healthy"
    assert [str(s.place) for s in found.next] == ["from pump_plus to pump_minus at key-on"]
    held, fails = (
        TOOL.diagnose([*works, *[replace(found.next[0].measurement, value=value)] * 2], suggestions=0)
        for value in (12.2, 0.0)
    )
    assert held.decided == "healthy"
    assert fails.comes_and_goes > 0.8
