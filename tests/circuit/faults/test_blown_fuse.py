"""Checks what blows each new fuse: this circuit's wire, its load, or what else hangs on the fuse."""

import math

import pytest

from meterlog.circuit import load_circuit
from meterlog.circuit.diagnosis import Diagnoser, Diagnosis
from meterlog.circuit.readings.measurement import Measurement
from meterlog.circuit.readings.trial import Tried

TOOL = Diagnoser(load_circuit("pump-feed"))
DEAD_FUSE = [Measurement("voltage", "fuse_in", value=12.4), Measurement("voltage", "fuse_out", value=0.0)]
BLEW = [Tried("blew", replaced="fuse")]
BEFORE_RELAY = Measurement("resistance", "fuse_out", state="isolated")
BEHIND_RELAY = Measurement("resistance", "plug_feed", state="isolated", load="unplugged", side="harness")


def found(*ohms: tuple[Measurement, float]) -> Diagnosis:
    more = [Measurement(m.quantity, m.at, m.to, m.state, m.load, value=value, side=m.side) for m, value in ohms]
    return TOOL.diagnose([*DEAD_FUSE, *more], BLEW)


def test_the_fuse_is_read_against_ground_before_its_relay_first() -> None:
    first = found().next[0].measurement
    assert (first.quantity, first.at, first.to, first.state) == ("resistance", "fuse_out", "battery_minus", "isolated")


def test_a_short_before_the_open_relay_is_of_something_else_that_hangs_on_the_fuse() -> None:
    top = found((BEFORE_RELAY, 0.6), (BEHIND_RELAY, math.inf)).hypotheses[0]
    assert (top.part, top.fault) == ("fuse", "branch_shorted")
    assert top.words == "has blown since something else that hangs on it is shorted"


def test_a_short_behind_the_relay_is_of_this_circuit() -> None:
    top = found((BEFORE_RELAY, math.inf), (BEHIND_RELAY, 0.6)).hypotheses[0]
    assert (top.part, top.fault) == ("feed_wire", "short_to_ground")


def test_a_load_with_its_own_resistance_is_not_shorted_and_one_without_it_is() -> None:
    between_pins = Measurement("resistance", "plug_feed", "plug_ground", "isolated", "unplugged", side="load")
    whole, shorted = (
        found((BEFORE_RELAY, math.inf), (BEHIND_RELAY, math.inf), (between_pins, ohm)).hypotheses for ohm in (1.1, 0.3)
    )
    assert (shorted[0].part, shorted[0].fault) == ("pump", "short_to_ground")
    assert whole[0].part == "fuse"


def test_nobody_is_told_to_put_in_another_fuse_where_something_else_blows_it() -> None:
    assert found((BEFORE_RELAY, 0.6), (BEHIND_RELAY, math.inf)).acting is None


@pytest.mark.parametrize("share", [0.35, 0.45, 0.55])
def test_a_pump_that_draws_little_at_full_voltage_is_at_fault_whatever_little_is(share: float) -> None:
    rated = TOOL.circuit.load_a
    measured = [
        Measurement("voltage", "fuse_out", value=12.4),
        Measurement("voltage", "pump_plus", "pump_minus", value=12.1),
        Measurement("current", "fuse", value=round(share * rated, 2)),
    ]
    said = TOOL.diagnose(measured, suggestions=0)
    assert said.hypotheses[0].part == "pump"
    assert said.hypotheses[0].probability > said.healthy
