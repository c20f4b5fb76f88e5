"""Cautions follow what is done on a circuit and what it is near, on every circuit that comes with the program."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator
from itertools import product

import pytest

from meterlog.cautions import CAUTIONS, FUEL, RESTRAINT, UNDER, Act, applying
from meterlog.circuit import Circuit, Part, load_circuit, template_names
from meterlog.circuit.acts import beginning, cautions_for, measuring, tried, trying
from meterlog.circuit.diagnosis import Diagnoser
from meterlog.circuit.model.circuit_file import circuit_from_table
from meterlog.circuit.model.loops import Branch
from meterlog.circuit.model.part import BATTERY_MINUS
from meterlog.circuit.next_measurement.candidates import candidates
from meterlog.circuit.readings.measurement import Measurement
from meterlog.circuit.readings.trial import Tried
from meterlog.cli.terminal.diagnose_text import as_text, print_general
from meterlog.errors import CircuitError

TEXT = {caution.name: caution.text for caution in CAUTIONS}
CIRCUITS = {name: load_circuit(name) for name in template_names()}
POWERED = ("off", "key_on", "prime", "crank", "run")


def every_measurement(circuit: Circuit) -> Iterator[Measurement]:
    """All that can be asked for, and all else that a person can enter."""
    yield from candidates(circuit, [])
    for at, load in product(circuit.ids(), ("connected", "unplugged", "lamp")):
        if at == BATTERY_MINUS:
            continue
        yield Measurement("resistance", at, state="isolated", load=load)
        for quantity, state in product(("voltage", "voltage_drop", "current"), POWERED):
            yield Measurement(quantity, at, state=state, load=load)


def must(act: Act, m: Measurement) -> set[str]:
    """Return what has to be said, by rules of this test's own."""
    assert act.near is not None, "a template says what it is near"
    wanted: set[str] = set()
    if FUEL in act.near:
        wanted |= {"fuel", "eyes"} | ({"rail pressure"} if m.load != "connected" else set())
    if RESTRAINT in act.near or m.load == "lamp":
        wanted.add("restraint")
    if UNDER in act.near:
        wanted.add("under")
    if m.load == "lamp":
        wanted.add("lamp")
    if m.quantity == "resistance":
        wanted.add("dead circuit")
    if m.quantity == "current" and m.state == "crank":
        wanted.add("clamp to crank")
    if m.quantity == "current":
        wanted.add("clamp only" if (act.load_a or 0) > 10 else "current jack")
    if m.state == "crank":
        wanted |= {"moves", "starter", "exhaust", "belts and fan"}
    if m.state == "run":
        wanted |= {"exhaust", "belts and fan"}
    return wanted


@pytest.mark.parametrize("name", template_names())
def test_every_measurement_has_the_cautions_that_it_must_have_each_once(name: str) -> None:
    circuit = CIRCUITS[name]
    for m in every_measurement(circuit):
        texts, act = cautions_for(circuit, [m]), measuring(circuit, m)
        assert len(texts) == len(set(texts))
        for wanted in must(act, m):
            assert TEXT[wanted].format(load_a=act.load_a) in texts, (m, wanted)


@pytest.mark.parametrize("name", template_names())
def test_no_screen_says_a_caution_twice(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    circuit = CIRCUITS[name]
    diagnosis = Diagnoser(circuit).diagnose([], suggestions=100)
    trials = [Tried("runs", "battery", point.id) for point in circuit.points]
    for s in diagnosis.next:
        said: set[str] = set()
        print(as_text(circuit, dataclasses.replace(diagnosis, steps=(s,)), said))
        print_general(circuit, trials, said)
        screen = capsys.readouterr().out
        for caution in CAUTIONS:
            for amps in {circuit.load_a, *circuit.carried_a}:
                assert screen.count(caution.text.format(load_a=amps)) <= 1
        for text in applying(
            beginning(circuit), *(tried(circuit, one) for one in trials), measuring(circuit, s.measurement)
        ):
            assert text in screen
        assert screen.count("licensed practice") == 1


@pytest.mark.parametrize("name", template_names())
def test_another_name_or_language_changes_no_caution(name: str) -> None:
    circuit = CIRCUITS[name]
    other = {id_: f"Teil {k}" for k, id_ in enumerate(circuit.ids()) if id_ != BATTERY_MINUS} | {
        BATTERY_MINUS: BATTERY_MINUS
    }
    foreign = dataclasses.replace(
        circuit,
        name="Stromkreis",
        parts=tuple(
            dataclasses.replace(part, id=other[part.id], command=other.get(part.command, "")) for part in circuit.parts
        ),
        points=tuple(
            dataclasses.replace(point, id=other[point.id], after=other[point.after]) for point in circuit.points
        ),
        branches=tuple(
            Branch(f"Zweig {k}", other[one.after], other[one.to], tuple(other[id_] for id_ in one.parts))
            for k, one in enumerate(circuit.branches)
        ),
    )
    for m in every_measurement(circuit):
        same = dataclasses.replace(m, at=other[m.at], to=other[m.to], unplugged=other.get(m.unplugged, ""))
        assert cautions_for(circuit, [m]) == cautions_for(foreign, [same])
    for id_ in circuit.ids():
        for doing in ("feed", "bridge", "replace"):
            assert applying(trying(circuit, doing, id_)) == applying(trying(foreign, doing, other[id_]))


def test_a_feed_of_the_pump_wants_a_fuse_no_sparks_near_fuel_and_no_airbag_plugs() -> None:
    texts = applying(tried(CIRCUITS["pump-feed"], Tried("runs", "battery", "pump_plus")))
    for wanted in ("feed", "fuel", "rail pressure", "restraint", "battery gas", "eyes", "under"):
        assert TEXT[wanted] in texts
    lamp = applying(tried(CIRCUITS["lamp"], Tried("runs", "battery", "lamp_plus")))
    assert TEXT["feed"] in lamp
    assert TEXT["fuel"] not in lamp


def test_feeding_the_starter_cranks_the_engine() -> None:
    starter, pump = CIRCUITS["starter-control"], CIRCUITS["pump-feed"]
    assert TEXT["moves"] in applying(trying(starter, "feed", "solenoid_stud"))
    assert TEXT["moves"] not in applying(trying(pump, "feed", "pump_plus"))


def test_a_new_fuse_is_of_the_same_rating() -> None:
    pump = CIRCUITS["pump-feed"]
    assert TEXT["fuse"] in applying(trying(pump, "replace", "fuse"))
    assert TEXT["fuse"] not in applying(trying(pump, "replace", "relay"))


def test_an_inertia_switch_is_known_by_what_it_switches() -> None:
    assert TEXT["inertia switch"] in cautions_for(CIRCUITS["pump-feed"], [Measurement("voltage", "switch_out")])
    assert TEXT["inertia switch"] not in cautions_for(CIRCUITS["lamp"], [Measurement("voltage", "switch_out")])


def test_a_current_that_the_jack_cannot_take_is_measured_with_a_clamp_only() -> None:
    fan = Circuit(
        "fan", 12.0, (Part("battery", "battery"), Part("fuse", "fuse"), Part("fan", "motor", current_a=18)), ()
    )
    said = " ".join(cautions_for(fan, [Measurement("current", "fuse")]))
    assert "With a clamp only: this circuit draws 18 A" in said
    assert TEXT["current jack"] not in said
    assert TEXT["current jack"] in cautions_for(CIRCUITS["pump-feed"], [Measurement("current", "fuse")])


MINIMAL: dict[str, object] = {
    "part": [{"id": "a", "kind": "battery"}, {"id": "b", "kind": "wire"}, {"id": "c", "kind": "motor"}],
    "point": [{"id": "p", "after": "a"}, {"id": "q", "after": "b"}],
}


def test_a_circuit_that_says_nothing_is_taken_for_near_everything() -> None:
    silent = circuit_from_table(MINIMAL)
    texts = cautions_for(silent, [Measurement("voltage", "q")])
    for wanted in ("fuel", "restraint", "battery gas", "belts and fan"):
        assert TEXT[wanted] in texts
    assert TEXT["fuel"] not in cautions_for(circuit_from_table(MINIMAL | {"near": []}), [Measurement("voltage", "q")])


def test_what_a_neighbour_is_near_counts_and_what_is_left_unsaid_is_not_nothing() -> None:
    parts = [
        {"id": "a", "kind": "battery"},
        {"id": "b", "kind": "wire"},
        {"id": "c", "kind": "motor", "near": ["fuel"]},
    ]
    said = circuit_from_table(MINIMAL | {"part": parts, "near": ["hot"]})
    assert said.near_of(["q"]) == frozenset({"fuel", "hot"})
    assert said.near_of(["p"]) == frozenset({"hot"})
    assert circuit_from_table(MINIMAL | {"part": parts}).near_of(["q"]) is None
    point = {"id": "p", "after": "a", "near": ["moving parts"]}
    assert circuit_from_table(MINIMAL | {"point": [point], "near": []}).near_of(["p"]) == frozenset({"moving parts"})


@pytest.mark.parametrize(
    ("table", "said"),
    [
        ({"near": "fuel"}, "circuit: 'near' must be a list of words"),
        ({"near": ["fule"]}, "circuit: 'near' does not know 'fule' (near it: fuel"),
        ({"near": [3]}, "'near' must be a list of words"),
        (
            {"part": [{"id": "a", "kind": "battery", "near": ["batery gas"]}]},
            "part 'a': 'near' does not know 'batery gas'",
        ),
        (
            {"point": [{"id": "p", "after": "a", "near": ["airbag"]}]},
            "point 'p': 'near' does not know 'airbag'; it has fuel",
        ),
        ({"nere": []}, "unknown key 'nere' (near it: near"),
    ],
)
def test_a_word_that_near_does_not_know_is_refused_with_the_nearest(table: dict[str, object], said: str) -> None:
    with pytest.raises(CircuitError) as raised:
        circuit_from_table(MINIMAL | table)
    assert said in str(raised.value)


@pytest.mark.parametrize("name", template_names())
def test_the_templates_say_what_they_are_near(name: str) -> None:
    circuit = CIRCUITS[name]
    assert circuit.near is not None
    assert all("battery gas" in (part.near or ()) for part in circuit.parts if "clamp" in part.id)
