"""Checks what is seen, heard or smelled without an instrument, and what it says about the parts."""

import json
from pathlib import Path

import pytest

from meterlog.circuit import load_circuit
from meterlog.circuit.diagnosis import Diagnoser
from meterlog.circuit.model.circuit_file import template_names
from meterlog.circuit.probability.facts import FACTS, chance_of
from meterlog.circuit.readings.from_file import load_measured, measured_from_table
from meterlog.circuit.readings.measurement import Measurement
from meterlog.circuit.readings.observed import PART, Observed, questions
from meterlog.circuit.readings.trial import Told, Tried
from meterlog.cli.main import main
from meterlog.cli.terminal.diagnose_questions import save
from meterlog.errors import CircuitError

CIRCUIT = load_circuit("pump-feed")
TOOL = Diagnoser(CIRCUIT)


def chances(**observed: object) -> dict[str, float]:
    measured, told = measured_from_table({"observed": observed}, CIRCUIT)
    known = TOOL.weigh(measured, told)
    return TOOL.chances(known.weight, known.comes_and_goes)


BEFORE = chances()


def test_every_question_has_a_fact_and_answers_that_add_up() -> None:
    assert {one.fact for one in questions().values() if one.answers} == set(FACTS)
    for one in questions().values():
        assert one.text.endswith("?") or "?" in one.text
        for side in (0, 1):
            assert not one.answers or sum(pair[side] for pair in one.answers.values()) == pytest.approx(1.0)


@pytest.mark.parametrize("name", template_names())
def test_every_answer_has_a_chance_in_every_cell_of_every_circuit(name: str) -> None:
    tool = Diagnoser(load_circuit(name))
    part = tool.circuit.parts[1].id
    for one in questions().values():
        for answer in one.answers:
            chance = chance_of(tool.network, Observed(one.key, part if answer == PART else answer))
            assert chance.shape == (len(tool.cells),)
            assert (chance > 0).all()
            assert (chance < 1).all()


@pytest.mark.parametrize(
    ("key", "answer", "more", "less"),
    [
        ("relay_clicks", "no", ["relay_coil"], ["pump", "ground_bolt", "fuse"]),
        ("relay_clicks", True, ["pump", "fuse"], ["relay_coil"]),
        ("prime_heard", "yes", ["healthy"], ["pump", "relay", "fuse"]),
        ("prime_heard", "no", ["pump", "fuse"], ["healthy"]),
        ("fuel_at_rail", "yes", ["healthy"], ["feed_wire", "pump"]),
        ("starter_turns", "slowly", ["battery", "plus_clamp", "minus_clamp"], ["pump", "relay"]),
        ("tachometer_moves", "no", ["relay_coil"], ["fuse"]),
        ("engine_lamp_lit", False, ["battery", "minus_clamp"], ["pump"]),
        ("fuse_whole", "yes", ["pump", "relay"], ["fuse"]),
        ("fuse_whole", "no", ["fuse"], ["pump", "relay"]),
        ("part_hot", "inertia_switch", ["inertia_switch"], ["relay", "fuse"]),
        ("smell", "burnt", ["plug_feed_pin", "ground_bolt"], ["healthy"]),
        ("water_in_plug", "yes", ["plug_feed_pin", "plug_ground_pin"], ["relay"]),
        ("moves_with_harness", "plug_ground_pin", ["plug_ground_pin"], ["relay", "healthy"]),
        ("since_repair", "yes", ["plug_feed_pin", "ground_bolt", "fuse"], ["pump"]),
        ("load_works", "yes", ["healthy"], ["pump", "fuse"]),
        ("lamp_at_plug", "dark", ["fuse", "relay"], ["healthy"]),
        ("lamp_at_plug", "bright", ["pump"], ["fuse", "ground_bolt"]),
    ],
)
def test_an_answer_raises_what_would_give_it_and_lowers_what_would_not(
    key: str, answer: object, more: list[str], less: list[str]
) -> None:
    after = chances(**{key: answer})
    for name in more:
        assert after[name] > BEFORE[name], name
    for name in less:
        assert after[name] < BEFORE[name], name


def test_no_single_observation_makes_sure() -> None:
    for one in questions().values():
        for answer in one.answers:
            after = chances(**{one.key: "relay" if answer == PART else answer})
            assert max(after.values()) < 0.9, (one.key, answer)


def test_it_comes_and_goes_where_the_harness_moves_it() -> None:
    measured, told = measured_from_table({"observed": {"moves_with_harness": "yes", "only_when_hot": "no"}}, CIRCUIT)
    before, after = TOOL.weigh([]).comes_and_goes.sum(), TOOL.weigh(measured, told).comes_and_goes.sum()
    assert after > 2 * before


def test_who_cannot_tell_says_nothing_and_looks_of_complaints_are_passed_over() -> None:
    assert chances(relay_clicks="unknown", lamp_at_plug="unknown", clamps_clean="no") == BEFORE


@pytest.mark.parametrize(
    ("observed", "message"),
    [
        ({"relay_click": "no"}, "nothing is known of 'relay_click'.*relay_clicks"),
        ({"relay_clicks": "loudly"}, "'relay_clicks' is answered by yes, no or unknown, not 'loudly'"),
        ({"part_hot": "exhaust"}, "answered by no, the id of a part or unknown"),
        ({"part_hot": "airbag"}, "looks like a restraint"),
        ({"prime_heard": 1}, "'prime_heard' is answered by"),
        ({"lamp_at_plug": "half"}, "'value' must be one of dark"),
        (["prime_heard"], "'observed' must be a table"),
    ],
)
def test_a_wrong_observation_is_refused(observed: object, message: str) -> None:
    with pytest.raises(CircuitError, match=message):
        measured_from_table({"observed": observed}, CIRCUIT)


def test_observations_are_kept_and_read_again(tmp_path: Path) -> None:
    kept = tmp_path / "kept.toml"
    told: list[Told] = [Tried("dead", replaced="relay"), Observed("relay_clicks", "no"), Observed("part_hot", "relay")]
    save(kept, [Measurement("lamp", "fuse_out", value=0.0)], told)
    assert load_measured(kept, CIRCUIT, templates=False) == ([Measurement("lamp", "fuse_out", value=0.0)], told)


def test_it_says_what_an_observation_speaks_for() -> None:
    found = TOOL.diagnose([Measurement("voltage", "relay_out", value=0.0)], [Observed("relay_clicks", "no")])
    coil = next(h for h in found.hypotheses if h.part == "relay_coil")
    assert any(sentence.startswith("relay clicks: no: 88 % likely") for sentence in coil.speaks_for)


def test_looks_given_on_the_command_line_count(capsys: pytest.CaptureFixture[str]) -> None:
    def of_coil(*more: str) -> float:
        assert main(["diagnose", "--circuit", "pump-feed", "--json", *more]) == 0
        found = json.loads(capsys.readouterr().out)["hypotheses"]
        return float(next(h["probability"] for h in found if h["part"] == "relay_coil"))

    assert of_coil("--look", "relay_clicks=no") > 2 * of_coil()
    assert main(["diagnose", "--circuit", "pump-feed", "--json", "--look", "relay_clicks"]) == 2
    assert "is not KEY=ANSWER" in capsys.readouterr().err
