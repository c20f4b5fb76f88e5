"""Recorded sessions give measurements: where by the channel's point, in which state by the markers."""

import math
from pathlib import Path

import numpy as np
import pytest

from meterlog.analysis import analyze
from meterlog.circuit import load_circuit
from meterlog.circuit.diagnosis import diagnose
from meterlog.circuit.readings.from_session import measurements_from_session
from meterlog.circuit.readings.measurement import Measurement
from meterlog.reading import Quantity
from meterlog.series import Series
from meterlog.session import SessionWriter, open_reader
from meterlog.session.contents import Contents
from meterlog_drivers.simulated.scenarios import SCENARIOS
from meterlog_drivers.simulated.van.vehicle import van_circuit


def series(time_s: np.ndarray, value: np.ndarray) -> Series:
    n = len(time_s)
    return Series(time_s, value, np.full(n, 0.01, np.float32), np.zeros(n, np.uint16))


def taken(
    path: Path, point: str, quantity: Quantity, value: np.ndarray, marks: dict[str, float], circuit: str = "pump-feed"
) -> list[Measurement]:
    with SessionWriter.create(path) as writer:
        channel = writer.add_channel("probe", quantity, point=point)
        writer.append_series(channel, series(np.arange(len(value)) / 3.0, value))
        for name, time_s in marks.items():
            writer.add_marker(time_s, name)
    with open_reader(path) as reader:
        return measurements_from_session(reader, load_circuit(circuit))[0]


@pytest.mark.parametrize("point", ["battery_plus to plug_feed", "battery_plus to heater_plug_feed"])
def test_across_an_open_relay_the_source_is_no_drop_on_a_branch_as_in_the_chain(tmp_path: Path, point: str) -> None:
    value = np.concatenate([np.full(6, 12.5), np.full(6, 0.3), np.full(18, 12.5)])
    found = taken(tmp_path / "a.sqlite", point, Quantity.DC_VOLTAGE, value, {"key-on": 1.8}, "pump-and-heater")
    assert [m.value for m in found] == [pytest.approx(0.3)]


def test_a_prime_and_a_crank_give_a_level_each(tmp_path: Path) -> None:
    value = np.concatenate([np.zeros(6), np.full(6, 12.1), np.zeros(12), np.full(9, 10.4), np.zeros(6)])
    found = taken(tmp_path / "a.sqlite", "plug_feed", Quantity.DC_VOLTAGE, value, {"key-on": 1.8, "crank": 7.9})
    assert [(m.quantity, m.at, m.to, m.state) for m in found] == [
        ("voltage", "plug_feed", "battery_minus", "key_on"),
        ("voltage", "plug_feed", "battery_minus", "crank"),
    ]
    assert [m.value for m in found] == [pytest.approx(12.1), pytest.approx(10.4)]
    assert all(m.error is not None and m.error < 0.2 for m in found)


def test_an_engine_that_starts_gives_a_cranking_and_a_running_level(tmp_path: Path) -> None:
    value = np.concatenate([np.zeros(6), np.full(5, 10.2), np.full(20, 13.8)])
    found = taken(tmp_path / "a.sqlite", "plug_feed", Quantity.DC_VOLTAGE, value, {"crank": 1.9})
    assert [m.state for m in found] == ["crank", "run"]
    assert [m.value for m in found] == [pytest.approx(10.2), pytest.approx(13.8)]


def test_a_starter_let_go_does_not_lift_the_cranking_level(tmp_path: Path) -> None:
    value = np.concatenate([np.full(6, 12.0), np.full(10, 8.8), np.full(14, 12.1)])
    found = taken(tmp_path / "a.sqlite", "battery_plus", Quantity.DC_VOLTAGE, value, {"crank": 1.99})
    assert [m.state for m in found] == ["crank"]
    assert found[0].value == pytest.approx(8.8)


def test_no_prime_is_nothing_measured_at_key_on(tmp_path: Path) -> None:
    found = taken(tmp_path / "a.sqlite", "plug_feed", Quantity.DC_VOLTAGE, np.full(30, 0.01), {"key-on": 1.0})
    assert [m.state for m in found] == ["key_on"]
    assert found[0].value == pytest.approx(0.01)


def test_a_dropout_inside_the_on_time_is_a_second_reading_of_the_same_place(tmp_path: Path) -> None:
    value = np.concatenate([np.full(9, 12.2), np.full(4, 0.1), np.full(9, 12.2)])
    found = taken(tmp_path / "a.sqlite", "plug_feed", Quantity.DC_VOLTAGE, value, {"key-on": 0.0})
    assert [m.value for m in found] == [pytest.approx(12.2), pytest.approx(0.1)]


@pytest.mark.parametrize("mark", [",", ";"])
def test_two_points_and_a_load_in_the_points_own_words(tmp_path: Path, mark: str) -> None:
    """In a meter's address a comma begins the next column's point, so a semicolon does as well."""
    value = np.full(12, 12.0)
    point = f"plug feed to plug-ground{mark} unplugged{mark} key-on"
    found = taken(tmp_path / "a.sqlite", point, Quantity.DC_VOLTAGE, value, {})
    assert [(m.at, m.to, m.load, m.state) for m in found] == [("plug_feed", "plug_ground", "unplugged", "key_on")]


def test_ohms_are_isolated_and_mostly_overload_is_open(tmp_path: Path) -> None:
    value = np.array([np.inf] * 9 + [0.4] * 3)
    found = taken(tmp_path / "a.sqlite", "plug_ground to body", Quantity.RESISTANCE, value, {})
    assert [(m.quantity, m.state, m.value) for m in found] == [("resistance", "isolated", math.inf)]


def test_what_cannot_be_used_is_said(tmp_path: Path) -> None:
    path = tmp_path / "a.sqlite"
    with SessionWriter.create(path) as writer:
        for point in ("somewhere", "plug_feed"):
            channel = writer.add_channel(f"at {point}", Quantity.DC_VOLTAGE, point=point)
            writer.append_series(channel, series(np.arange(5) / 3.0, np.full(5, 12.0)))
    with open_reader(path) as reader:
        found, left_out = measurements_from_session(reader, load_circuit("pump-feed"))
    assert found == []
    assert "'somewhere' is not a point" in left_out[0]
    assert "no marker" in left_out[1]


def test_a_reading_that_cannot_be_is_left_out_with_a_sentence_and_takes_no_other_with_it(tmp_path: Path) -> None:
    path = tmp_path / "a.sqlite"
    with SessionWriter.create(path) as writer:
        for point, volts in (("battery_plus", 124.0), ("plug_feed", 12.0), ("Air Bag plug", 12.0)):
            channel = writer.add_channel(f"at {point}", Quantity.DC_VOLTAGE, point=f"{point}, key_on")
            writer.append_series(channel, series(np.arange(5) / 3.0, np.full(5, volts)))
    with open_reader(path) as reader:
        found, left_out = measurements_from_session(reader, load_circuit("pump-feed"))
    assert [m.at for m in found] == ["plug_feed"]
    assert "at battery_plus left out: 124 V is more than a 12 V system can give" in left_out[0]
    assert "restraint" in left_out[1]


def test_a_drop_over_the_relay_is_what_is_read_while_it_is_closed(tmp_path: Path) -> None:
    value = np.concatenate([np.zeros(3), np.full(6, 12.4), np.full(6, 2.9), np.full(12, 12.4)])
    found = taken(tmp_path / "a.sqlite", "battery_plus to plug_feed", Quantity.DC_VOLTAGE, value[3:], {"key-on": 1.8})
    assert [m.state for m in found] == ["key_on"]
    assert [m.value for m in found] == pytest.approx([2.9])
    found = taken(tmp_path / "b.sqlite", "fuse_out to relay_out", Quantity.DC_VOLTAGE, value[3:9], {"key-on": 0.1})
    assert [m.value for m in found] == [pytest.approx(12.4)], "it never closed"


def test_a_small_drop_of_the_ground_side_is_not_the_nothing_around_it(tmp_path: Path) -> None:
    value = np.concatenate([np.zeros(6), np.full(6, 0.8), np.zeros(15)])
    found = taken(tmp_path / "a.sqlite", "plug_ground", Quantity.DC_VOLTAGE, value, {"key-on": 1.8})
    assert [m.value for m in found] == [pytest.approx(0.8)]


def test_a_key_on_marked_late_and_the_recorders_own_markers_lose_no_prime(tmp_path: Path) -> None:
    path = tmp_path / "a.sqlite"
    with SessionWriter.create(path) as writer:
        channel = writer.add_channel("probe", Quantity.DC_VOLTAGE, point="plug_feed")
        value = np.concatenate([np.zeros(6), np.full(6, 9.5), np.zeros(6)])
        writer.append_series(channel, series(np.arange(len(value)) / 3.0, value))
        writer.add_marker(2.5, "key-on")
        writer.add_marker(2.6, "triggered", by="capture")
    with open_reader(path) as reader:
        found = measurements_from_session(reader, load_circuit("pump-feed"))[0]
    assert [m.state for m in found] == ["key_on"]
    assert [m.value for m in found] == pytest.approx([9.5])


def recorded(path: Path, name: str, *, markers: bool, seed: int = 3) -> list[Measurement]:
    """The measurements of a scenario of the simulated van, recorded with or without its markers."""
    run = SCENARIOS[name].run(seed)
    with SessionWriter.create(path) as writer:
        for k, probe in enumerate(run.probes):
            number = writer.add_channel(probe.label, run.quantity(k), point=probe.point)
            writer.append_series(number, run.readings[k])
        for marker in run.markers if markers else ():
            writer.add_marker(marker.time_s, marker.name)
    with open_reader(path) as reader:
        return measurements_from_session(reader, van_circuit())[0]


def test_a_captured_prime_needs_no_marker_and_takes_every_channel_with_it(tmp_path: Path) -> None:
    found = recorded(tmp_path / "a.sqlite", "open-motor", markers=False)
    assert [(m.quantity, m.state) for m in found] == [("voltage", "prime"), ("current", "prime")]
    assert found[0].value == pytest.approx(12.4, abs=0.3)
    assert found[1].value == pytest.approx(0.0, abs=0.05), "no current although it is fed"


def test_a_drop_while_closed_needs_no_marker_and_no_other_channel(tmp_path: Path) -> None:
    value = np.concatenate([np.full(9, 12.4), np.full(6, 1.58), np.full(9, 12.4)])
    (found,) = taken(tmp_path / "a.sqlite", "fuse_out to relay_out", Quantity.DC_VOLTAGE, value, {})
    assert (found.at, found.to, found.state) == ("fuse_out", "relay_out", "prime")
    assert found.value == pytest.approx(1.58)


def test_a_prime_that_a_marker_tells_of_counts_once(tmp_path: Path) -> None:
    with_markers = recorded(tmp_path / "a.sqlite", "relay-high-resistance", markers=True)
    without = recorded(tmp_path / "b.sqlite", "relay-high-resistance", markers=False)
    assert [m.state for m in with_markers].count("prime") == 0
    on = [m.value for m in with_markers if m.state == "key_on"]
    assert [m.value for m in without] == [pytest.approx(value, abs=0.05) for value in on]


def test_cranking_is_no_prime(tmp_path: Path) -> None:
    found = recorded(tmp_path / "a.sqlite", "weak-battery-crank", markers=False)
    assert [m.state for m in found] == ["prime", "prime"]
    assert min(m.value for m in found) > 11.0, "the prime's level, not the starter's"


def test_a_wire_that_opens_when_it_is_moved_comes_and_goes(tmp_path: Path) -> None:
    found = recorded(tmp_path / "a.sqlite", "wiggle-open", markers=True)
    assert {math.isinf(m.value) for m in found} == {True, False}
    assert {(m.at, m.to, m.state) for m in found} == {("relay_out", "plug_feed", "isolated")}
    top = diagnose(van_circuit(), found).hypotheses[0]
    assert (top.part, top.fault) == ("feed_wire", "intermittent")


@pytest.mark.parametrize("readings", [1, 2])
@pytest.mark.parametrize("marks", [{"key-on": 1.8, "wiggle at plug": 2.5}, {"Wiggle": 2.5}])
def test_a_break_in_a_prime_while_the_harness_is_moved_is_evidence(
    tmp_path: Path, readings: int, marks: dict[str, float]
) -> None:
    value = np.concatenate([np.zeros(6), np.full(3, 12.1), np.full(3, 12.1), np.zeros(12)])
    value[9 : 9 + readings] = 0.0
    found = taken(tmp_path / "a.sqlite", "plug_feed", Quantity.DC_VOLTAGE, value, marks)
    state = "key_on" if "key-on" in marks else "prime"
    assert [(m.state, m.value) for m in found] == [(state, pytest.approx(12.1)), (state, 0.0)]
    whole = np.where(np.arange(len(value)) // 6 == 1, 12.1, 0.0)
    sound = taken(tmp_path / "b.sqlite", "plug_feed", Quantity.DC_VOLTAGE, whole, marks)
    assert [m.value for m in sound] == [pytest.approx(12.1)]
    circuit = load_circuit("pump-feed")
    before, after = (
        sum(h.probability for h in diagnose(circuit, m).hypotheses if h.fault == "intermittent") for m in (sound, found)
    )
    assert after > 2 * before


def test_a_break_of_one_reading_long_after_the_harness_was_moved_is_none(tmp_path: Path) -> None:
    value = np.concatenate([np.zeros(15), np.full(6, 12.1), np.zeros(9)])
    value[18] = 0.0
    found = taken(tmp_path / "a.sqlite", "plug_feed", Quantity.DC_VOLTAGE, value, {"wiggle": 1.0, "key-on": 4.9})
    assert [m.value for m in found] == [pytest.approx(12.1)]


def test_a_resistance_that_stepped_was_two(tmp_path: Path) -> None:
    low, high = sorted(m.value for m in recorded(tmp_path / "a.sqlite", "wiggle-step", markers=True))
    assert low < 0.5 < 3.0 < high


def test_what_is_lost_on_the_road_is_read_beside_the_level(tmp_path: Path) -> None:
    found = [m for m in recorded(tmp_path / "a.sqlite", "intermittent-feed", markers=True) if m.state == "run"]
    assert max(m.value for m in found) > 13.0
    assert min(m.value for m in found) < 1.0
    assert "comes and goes" in diagnose(van_circuit(), found).verdict


def test_what_the_analysis_says_of_an_open_motor_and_the_diagnosis_are_the_same_places(tmp_path: Path) -> None:
    found = recorded(tmp_path / "a.sqlite", "open-motor", markers=True)
    with open_reader(tmp_path / "a.sqlite") as reader:
        said = next(f.text for f in analyze(Contents.of(reader)).findings if "no current" in f.text)
    assert "an open motor (brush, armature), its connector or its ground" in said
    told = diagnose(van_circuit(), found)
    behind_the_feed = {"pump", "plug_feed_pin", "plug_ground_pin", "ground_wire", "ground_bolt", "minus_clamp"}
    assert {h.part for h in told.hypotheses[:4]} <= behind_the_feed
    assert any(s.startswith("0 A through pump") for h in told.hypotheses for s in h.speaks_for)
