"""Checks which half of an unplugged connector a reading is of: said, asked for, or what is usual."""

import math
from dataclasses import replace

import pytest

from meterlog.circuit import load_circuit
from meterlog.circuit.diagnosis import Diagnoser
from meterlog.circuit.readings.from_rows import measurement_from_row
from meterlog.circuit.readings.halves import half, unsaid
from meterlog.circuit.readings.measurement import Measurement
from meterlog.circuit.readings.typed_answers import typed_place
from meterlog.errors import CircuitError

CIRCUIT = load_circuit("pump-feed")
TOOL = Diagnoser(CIRCUIT)
ACROSS = Measurement("resistance", "plug_feed", "plug_ground", "isolated", "unplugged", 1.2)
TO_GROUND = Measurement("resistance", "plug_feed", "battery_minus", "isolated", "unplugged", 1.2)
FUSE_DEAD = [Measurement("voltage", "fuse_in", value=12.4), Measurement("voltage", "fuse_out", value=0.0)]


def chance(measured: list[Measurement], part: str) -> float:
    known = TOOL.weigh(measured)
    return TOOL.chances(known.weight, known.comes_and_goes)[part]


@pytest.mark.parametrize(
    ("m", "usual"),
    [
        (ACROSS, "load"),
        (TO_GROUND, "harness"),
        (Measurement("voltage", "plug_feed", load="unplugged"), "harness"),
        (Measurement("lamp", "plug_feed", "plug_ground", load="unplugged"), "harness"),
        (Measurement("voltage", "fuse_out", load="unplugged"), ""),
        (Measurement("voltage", "plug_feed"), ""),
    ],
)
def test_what_nobody_said_is_taken_as_usual_and_asked_for(m: Measurement, usual: str) -> None:
    assert half(CIRCUIT, m) == usual
    asked = unsaid(CIRCUIT, [m])
    assert bool(asked) == bool(usual)
    assert all(f"it is taken as the {usual} side" in sentence for sentence in asked)
    if usual:
        said = replace(m, side="load")
        assert (half(CIRCUIT, said), unsaid(CIRCUIT, [said])) == ("load", [])
        assert str(said).endswith("unplugged (load side)")


def test_a_blown_fuse_stays_one_where_the_pump_was_measured_on_the_load_side() -> None:
    on_load, unknown, on_harness = ([*FUSE_DEAD, replace(TO_GROUND, side=side)] for side in ("load", "", "harness"))
    assert chance(on_load, "fuse") > 0.5
    assert chance(on_load, "feed_wire") < 0.1
    assert chance(on_harness, "feed_wire") > 0.8, "1.2 ohm to ground on the harness side is a short"
    assert chance(on_load, "feed_wire") < chance(unknown, "feed_wire") < chance(on_harness, "feed_wire")


def test_across_the_harness_side_an_isolated_circuit_is_open() -> None:
    open_harness = replace(ACROSS, side="harness", value=math.inf)
    assert chance([open_harness], "pump") == pytest.approx(chance([], "pump"), rel=0.2)
    open_load = replace(open_harness, side="load")
    assert chance([open_load], "pump") > 2 * chance([], "pump")


def test_volts_on_the_load_side_of_an_open_connector_say_nothing() -> None:
    floating = Measurement("voltage", "plug_feed", load="unplugged", side="load", value=0.0)
    assert chance([floating], "fuse") == pytest.approx(chance([], "fuse"))


def test_every_reading_that_is_asked_for_says_its_half() -> None:
    asked = TOOL.diagnose([], suggestions=200).next
    unplugged = [s for s in asked if s.measurement.load == "unplugged"]
    assert unplugged
    assert unsaid(CIRCUIT, [s.measurement for s in asked]) == []
    assert all(s.as_json().get("side") in ("harness", "load") for s in unplugged if half(CIRCUIT, s.measurement))


def test_the_half_is_read_from_a_file_and_from_a_test_point() -> None:
    row = {"quantity": "voltage", "at": "plug_feed", "load": "unplugged", "side": "harness", "value": 12.0}
    m = measurement_from_row(row, CIRCUIT, "one:")
    assert m.side == "harness"
    assert measurement_from_row(m.as_row(), CIRCUIT, "one:") == m
    with pytest.raises(CircuitError, match="'side' must be one of harness, load"):
        measurement_from_row({**row, "side": "left"}, CIRCUIT, "one:")
    with pytest.raises(CircuitError, match="'side' is a half of an unplugged connector"):
        measurement_from_row({**row, "load": "connected"}, CIRCUIT, "one:")
    place = typed_place("plug feed, crank, harness side", CIRCUIT)
    assert place == {"at": "plug_feed", "state": "crank", "load": "unplugged", "side": "harness"}
