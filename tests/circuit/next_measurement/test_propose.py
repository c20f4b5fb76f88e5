"""Checks that what mechanics do beside measuring is proposed where it tells, and entered by one word."""

import json

import pytest

from meterlog.circuit import load_circuit, template_names
from meterlog.circuit.diagnosis import Diagnoser
from meterlog.circuit.model.circuit_file import circuit_from_table
from meterlog.circuit.next_measurement.attempts import attempts
from meterlog.circuit.next_measurement.propose import Proposal
from meterlog.circuit.readings.from_file import measured_from_table
from meterlog.circuit.readings.measurement import Measurement
from meterlog.circuit.readings.observed import Observed
from meterlog.circuit.readings.trial import Tried
from meterlog.errors import CircuitError

DEAD_BEHIND_RELAY = [
    Measurement("voltage", "fuse_out", value=12.3),
    Measurement("voltage", "relay_out", value=0.0),
    Measurement("voltage", "relay_coil", value=12.1, at_coil=True),
]


@pytest.fixture(scope="module")
def tool() -> Diagnoser:
    return Diagnoser(load_circuit("pump-feed"))


def _proposed(tool: Diagnoser, measured: list[Measurement], *tried: Tried | Observed) -> dict[str, Proposal]:
    steps = tool.diagnose(measured, tried, suggestions=100).steps
    return {step.place: step for step in steps if isinstance(step, Proposal)}


def test_where_a_relay_gives_nothing_it_is_bridged_or_swapped(tool: Diagnoser) -> None:
    found = _proposed(tool, DEAD_BEHIND_RELAY)
    assert {"bridged relay", "replaced relay"} <= found.keys()
    bridge = found["bridged relay"]
    assert "30 and 87" in bridge.how.text
    assert "its own fuse" in bridge.how.text
    assert "take relay out of its socket" in bridge.how.text.casefold()
    assert any("fuse no larger than the circuit's own" in caution for caution in bridge.cautions)
    runs = next(then for seen, then in bridge.outcomes if seen.startswith("pump runs"))
    assert runs.startswith("most likely relay (")


def test_what_was_tried_is_not_proposed_again_and_its_result_counts(tool: Diagnoser) -> None:
    before = tool.diagnose(DEAD_BEHIND_RELAY)
    after = tool.diagnose(DEAD_BEHIND_RELAY, [Tried("runs", bridged="relay")])
    assert "bridged relay" not in _proposed(tool, DEAD_BEHIND_RELAY, Tried("runs", bridged="relay"))
    chance = {h.part: h.probability for h in before.hypotheses}["relay"]
    assert {h.part: h.probability for h in after.hypotheses}["relay"] > chance


def test_nobody_is_sent_to_feed_a_load_that_works(tool: Diagnoser) -> None:
    works = [Measurement("voltage", "plug_feed", "plug_ground", value=12.2), Measurement("current", "fuse", value=5.0)]
    assert not [place for place in _proposed(tool, works) if place.startswith(("bridged", "replaced", "feed"))]


def test_a_harness_is_moved_once_a_reading_came_and_went(tool: Diagnoser) -> None:
    came_and_went = [Measurement("voltage", "plug_feed", value=12.2), Measurement("voltage", "plug_feed", value=0.2)]
    assert "moves_with_harness" not in _proposed(tool, came_and_went[:1])
    moved = _proposed(tool, came_and_went)["moves_with_harness"]
    assert "every 15 cm" in moved.how.text
    at_relay = next(then for seen, then in moved.outcomes if seen.startswith("it comes and goes at relay "))
    assert at_relay.startswith("most likely relay (")


def test_the_rating_of_a_fuse_is_read_where_a_new_one_blew_too(tool: Diagnoser) -> None:
    blown = [Measurement("voltage", "fuse_in", value=12.4), Measurement("voltage", "fuse_out", value=0.0)]
    rating = _proposed(tool, blown, Tried("blew", replaced="fuse"))["fuse_rating"]
    small = next(then for seen, then in rating.outcomes if seen.startswith("too small"))
    assert small.startswith("most likely fuse (")


def test_a_part_that_differs_from_a_good_one_is_likelier_at_fault(tool: Diagnoser) -> None:
    def chance(*tried: Tried) -> float:
        return {h.part: h.probability for h in tool.diagnose(DEAD_BEHIND_RELAY, tried).hypotheses}["relay"]

    alike, differs = Tried("alike", compared="relay"), Tried("differs", compared="relay")
    assert chance(alike) < chance() < chance(differs)


@pytest.mark.parametrize("name", template_names())
def test_every_attempt_can_be_followed_and_entered_by_each_of_its_words(name: str) -> None:
    circuit = load_circuit(name)
    for attempt in attempts(circuit, [], []):
        assert attempt.minutes > 0
        for answer, result in zip(attempt.answers, attempt.results, strict=True):
            assert attempt.told(circuit, answer.upper() if answer.isalpha() else answer) == result
        with pytest.raises(CircuitError):
            attempt.told(circuit, "12.3")
        row = attempt.row
        table = {"observed": {row["observed"]: attempt.answers[0]}} if "observed" in row else {
            "tried": [{**row, "result": attempt.answers[0]}]
        }  # fmt: skip
        assert measured_from_table(table, circuit) == ([], [attempt.results[0]])


def test_a_charging_circuit_is_never_bridged_nor_is_a_load_that_no_lead_carries() -> None:
    for name in ("charging", "glow-plugs"):
        places = [attempt.place for attempt in attempts(load_circuit(name), [], [])]
        assert not [place for place in places if place.startswith(("bridged", "feed"))]


def test_a_lead_never_has_a_bigger_fuse_than_the_circuit() -> None:
    table = {
        "part": [
            {"id": "battery", "kind": "battery"},
            {"id": "fuse", "kind": "fuse", "rating_a": 7.5},
            {"id": "relay", "kind": "relay_contact", "command": "coil", "pins": "3 and 5"},
            {"id": "horn", "kind": "load", "current_a": 4.0},
            {"id": "body", "kind": "ground"},
        ],
        "point": [{"id": "horn_plus", "after": "relay"}],
    }
    found = _proposed(Diagnoser(circuit_from_table(table)), [Measurement("voltage", "horn_plus", value=0.0)])
    assert "7.5 A at the most" in found["bridged relay"].how.text
    assert "3 and 5 in the socket" in found["bridged relay"].how.text


def test_the_json_says_what_to_try_beside_what_to_measure(tool: Diagnoser) -> None:
    found = json.loads(json.dumps(tool.diagnose(DEAD_BEHIND_RELAY).as_json()))["next"]
    assert {step["kind"] for step in found} == {"measure", "try"}
    swap = next(step for step in found if step["kind"] == "try")
    assert swap["tried"] == {"replaced": "relay"}
    assert swap["answers"] == ["runs", "dead", "blew"]
    assert swap["measure"] is None
    assert swap["text"]


def test_with_one_measurement_asked_for_there_is_one(tool: Diagnoser) -> None:
    found = tool.diagnose(DEAD_BEHIND_RELAY, suggestions=1)
    assert len(found.next) == 1
