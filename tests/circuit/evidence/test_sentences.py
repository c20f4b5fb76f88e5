"""The sentences of a diagnosis read as a person would say them."""

from __future__ import annotations

import re

import pytest

from meterlog.circuit import load_circuit
from meterlog.circuit.diagnosis import Diagnoser, Diagnosis
from meterlog.circuit.readings.measurement import Measurement
from meterlog.text.typed import typed_amount


def v(at: str, value: float, to: str = "battery_minus", state: str = "key_on", load: str = "connected") -> Measurement:
    return Measurement("voltage", at, to, state, load, value)


def amps(at: str, value: float, state: str = "key_on") -> Measurement:
    return Measurement("current", at, at, state, value=value)


@pytest.fixture(scope="module")
def pump() -> Diagnoser:
    return Diagnoser(load_circuit("pump-feed"))


def everything_said(found: Diagnosis) -> str:
    lines = [s for h in found.hypotheses for s in (*h.speaks_for, *h.speaks_against)]
    return "\n".join([found.verdict, *lines, *found.inconsistent])


def test_a_weak_battery_is_weak_or_not_charged(pump: Diagnoser) -> None:
    readings = [v("battery_plus", 10.9), v("battery_plus", 7.2, state="crank"), v("plug_feed", 10.7)]
    found = pump.diagnose(readings, suggestions=0)
    assert found.hypotheses[0].part == "battery"
    assert "battery is weak or not charged" in found.verdict


@pytest.mark.parametrize(("current_a", "said"), [(8.5, "draws too much current"), (2.7, "draws too little current")])
def test_a_motor_off_its_usual_current_is_said_which_way(pump: Diagnoser, current_a: float, said: str) -> None:
    readings = [v("battery_plus", 12.4), v("pump_plus", 11.9, to="pump_minus"), amps("pump", current_a)]
    words = {h.part: h.words for h in pump.diagnose(readings, suggestions=0).hypotheses}
    assert words["pump"] == said


def test_no_sentence_has_a_power_of_ten(pump: Diagnoser) -> None:
    ohms = Measurement("resistance", "switch_out", "plug_feed", "isolated", value=1800.0)
    for readings in ([ohms], [v("relay_out", 12.4), v("plug_feed", 0.0), v("plug_feed", 12.4, load="unplugged"), ohms]):
        assert not re.search(r"\de[+-]?\d", everything_said(pump.diagnose(readings, suggestions=0)))


def test_what_is_not_decided_is_said_in_whole_words(pump: Diagnoser) -> None:
    found = pump.diagnose([v("plug_feed", 0.0)], suggestions=0)
    assert found.verdict.startswith("not decided yet, likeliest so far: ")
    assert "first comes" not in found.verdict


def test_one_place_read_twice_is_named_once_as_evidence_where_a_contact_that_comes_and_goes_explains_it(
    pump: Diagnoser,
) -> None:
    readings = [v("plug_feed", 12.2), v("plug_feed", 0.0), v("plug_feed", 12.2)]
    found = pump.diagnose(readings, suggestions=0)
    assert found.inconsistent == ()
    assert len([s for s in found.hypotheses[0].speaks_for if "were both read from plug_feed" in s]) >= 1


def test_one_place_read_twice_is_a_contradiction_where_nothing_explains_it(pump: Diagnoser) -> None:
    said = pump.diagnose([v("battery_plus", 12.5), v("battery_plus", 7.0)], suggestions=0).inconsistent
    assert len(said) == 1
    assert said[0].startswith("12.5 V and 7 V were both read from battery_plus to battery_minus")
    assert "cannot both be right at the same time" in said[0]


@pytest.mark.parametrize("at", ["fuse_out", "relay_out", "switch_out", "plug_feed", "pump_plus"])
@pytest.mark.parametrize("state", ["key_on", "crank"])
def test_right_readings_on_both_sides_of_an_open_part_contradict_nothing(pump: Diagnoser, at: str, state: str) -> None:
    circuit = pump.circuit
    before = next(p.id for p in circuit.points if circuit.node(p.id) == circuit.node(at) - 1)
    source = 12.4 if state == "key_on" else 10.6
    readings = [v("battery_plus", source, state=state), v(before, source, state=state), v(at, 0.0, state=state)]
    readings += [v("plug_ground", 0.0, state=state), Measurement("current", "fuse", state=state, value=0.0)]
    assert pump.diagnose(readings, suggestions=0).inconsistent == ()
    assert pump.diagnose(readings[1:3], suggestions=0).inconsistent == ()


def _volts_expected_if_this(sentence: str) -> tuple[float, float, float]:
    """Return what was read, and the lowest and highest value said to be expected."""
    read = " ".join(sentence.split(" ")[:2])
    low, _, high = sentence.split(" expected if this is at fault")[0].rsplit(": ", 1)[1].partition(" to ")
    high = high or low
    unit = high.partition(" ")[2]
    values = (typed_amount(text if " " in text else f"{text} {unit}")[0] for text in (read, low, high))
    return next(values), next(values), next(values)


VOLTS = [
    [v("fuse_in", 12.4), v("fuse_out", 6.3)],
    [v("battery_plus", 12.5), v("relay_out", 12.3), v("plug_feed", 3.1), v("plug_ground", 0.1)],
    [v("battery_plus", 12.4), v("plug_feed", 12.1), v("plug_ground", 4.0), v("body", 0.02)],
]


@pytest.mark.parametrize("readings", VOLTS, ids=["fuse", "feed", "ground"])
def test_what_speaks_for_a_part_lies_where_it_is_expected_and_what_speaks_against_lies_outside(
    pump: Diagnoser, readings: list[Measurement]
) -> None:
    found = pump.diagnose(readings, suggestions=0)
    ids = set(pump.circuit.part_index) | set(pump.circuit.commands)
    assert found.hypotheses[0].speaks_for
    for h in found.hypotheses:
        for sentence in h.speaks_for:
            read, low, high = _volts_expected_if_this(sentence)
            assert low <= round(read, 1 if read >= 1 else 2) <= high, sentence
        for sentence in h.speaks_against:
            read, low, high = _volts_expected_if_this(sentence)
            assert not low <= read <= high, sentence
        for sentence in (*h.speaks_for, *h.speaks_against):
            rival = sentence.rsplit(" if ", 1)[1]
            named = rival.removesuffix(" is at fault")
            assert rival == "nothing is wrong" or (named in ids and named != h.part), sentence


def test_a_shorted_load_is_spoken_for_by_its_current(pump: Diagnoser) -> None:
    readings = [v("battery_plus", 12.4), v("pump_plus", 11.9, to="pump_minus"), amps("pump", 8.5)]
    top = pump.diagnose(readings, suggestions=0).hypotheses[0]
    assert top.title == "draws too much current"
    assert any(s.startswith("8.5 A through pump") for s in top.speaks_for)


def test_a_contact_that_comes_and_goes_is_said_by_the_place_read_twice(pump: Diagnoser) -> None:
    top = pump.diagnose([v("plug_feed", 12.2), v("plug_feed", 0.0), v("plug_feed", 12.1)], suggestions=0).hypotheses[0]
    assert top.fault == "intermittent"
    assert "expected while its contact is good, 0 V while it is open" in top.speaks_for[0]


@pytest.mark.parametrize(
    "readings",
    [
        [v("relay_out", 12.5), v("plug_feed", 0.0), v("plug_feed", 12.4, load="unplugged")],
        [v("fuse_in", 12.4), v("fuse_out", 6.3)],
        [
            Measurement("resistance", "switch_out", "plug_feed", "isolated", value=0.4),
            v("switch_out", 12.3),
            v("plug_feed", 3.1),
            v("plug_feed", 3.0),
        ],
    ],
    ids=["high resistance unplugged", "half over the fuse", "one strand"],
)
def test_readings_with_one_part_between_them_contradict_nothing(pump: Diagnoser, readings: list[Measurement]) -> None:
    assert pump.diagnose(readings, suggestions=0).inconsistent == ()


def test_a_contradiction_names_what_the_likeliest_explanation_expects(pump: Diagnoser) -> None:
    readings = [v("fuse_out", 12.3), v("relay_out", 3.0), v("switch_out", 12.2), v("plug_feed", 12.1)]
    said = pump.diagnose(readings, suggestions=0).inconsistent
    assert len(said) == 1
    assert said[0].startswith("3 V from relay_out to battery_minus at key-on and ")
    low, high = (float(x) for x in re.findall(r"\(([\d.]+) to ([\d.]+) V expected if", said[0])[0])
    assert 12.0 <= low <= high <= 12.6


def test_a_reading_taken_twice_still_speaks_and_once(pump: Diagnoser) -> None:
    once = [v("switch_out", 12.4), v("plug_feed", 4.0)]
    top = pump.diagnose([*once, *once], suggestions=0).hypotheses[0]
    assert top.part == "feed_wire"
    assert sorted(s.split(" to ")[0] for s in top.speaks_for) == ["12.4 V from switch_out", "4 V from plug_feed"]
