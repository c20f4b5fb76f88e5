"""The pump is suspected: the whole job at a simulated van whose relay contact is burnt, from the command line only."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from meterlog.circuit.readings.measurement import LOAD_WORDS, STATE_WORDS
from meterlog_drivers.simulated.scenarios import SCENARIOS
from meterlog_drivers.simulated.van.vehicle import STEP_S, Fault, Signal, Solved, Trip
from tests.stories.transcript import Person

SEED = 5
SPEED = 1.5
CIRCUIT = "pump-feed"
_SURE = 90
_KEY_ON_S, _CRANK_S, _RUN_S, _END_S = 1.0, 4.0, 6.0, 9.0
_READ_AT_S = {"off": 0.5, "key_on": 2.5, "prime": 2.5, "crank": 5.0, "run": 8.0, "isolated": 0.5}


@dataclass(frozen=True)
class Outcome:
    """Holds what the steps gave, for the test.

    Attributes:
        person: with the transcript.
        before: `analyze --json` of the armed capture.
        first: the parts of the diagnosis from the sessions alone, the most probable first.
        parts: of the diagnosis after the last answer, the most probable first, with probabilities.
        asked: the measurements that were suggested and taken.
        comparison: `compare --json`.
        report: the page.
    """

    person: Person
    before: Mapping[str, Any]
    first: list[Mapping[str, Any]]
    parts: list[Mapping[str, Any]]
    asked: list[str]
    comparison: Mapping[str, Any]
    report: str


def play(folder: Path, *, aloud: bool = False) -> Outcome:
    """Do the job in that folder; `aloud` prints what is typed and what comes back as it goes."""
    person = Person(folder, aloud=aloud)
    person.tells("The van cranks and does not start. No pump noise at key-on that I would trust. First the feed at the")
    person.tells("pump's plug, loaded, at key-on: both hands are busy, so the capture is armed.")
    _armed_prime(person, "relay-high-resistance", "before.sqlite", "vehicle=van, no start")
    before = json.loads(person.types("analyze", "before.sqlite", "--json"))

    person.tells("A low feed. Two meters at one key-on: what the feed side loses, and what the ground side loses.")
    _drop_test(person)

    person.tells("The fuse is out, the plug is off: the pump's winding and the ground path on ohms.")
    _ohms(person)

    person.tells("What does all this say, and what is worth measuring next?")
    sessions = ["before.sqlite", "drops.sqlite", "ohms.sqlite"]
    first = json.loads(person.types("diagnose", "--circuit", CIRCUIT, *sessions, "--json"))
    asked = _step_by_step(person, sessions)
    last = json.loads(
        person.types("diagnose", "--circuit", CIRCUIT, *sessions, "--measured", "readings.toml", "--json")
    )

    person.tells("A new relay is in. The same capture again, the same way.")
    _armed_prime(person, "healthy-prime", "after.sqlite", "repaired=relay")
    comparison = json.loads(person.types("compare", "--good", "after.sqlite", "before.sqlite", "--json"))
    person.types("compare", "--good", "after.sqlite", "before.sqlite")

    person.tells("The page for the customer.")
    circuit = ["--circuit", CIRCUIT, "--measured", "readings.toml"]
    person.types("report", *sessions, "--good", "after.sqlite", *circuit, "--out", "report.html")
    page = (folder / "report.html").read_text("utf-8")
    return Outcome(person, before, first["hypotheses"], last["hypotheses"], asked, comparison, page)


def _armed_prime(person: Person, scenario: str, out: str, detail: str) -> None:
    """One meter at the pump's plug, armed; `key-on` is marked by hand while it runs."""
    with person.beside("emulate", scenario, "--seed", str(SEED), "--speed", str(SPEED)) as van:
        address = f"status14:{van.ports[0]}?label=pump+feed&point=plug_feed"
        armed = ["--armed", "rise 6V", "--before", "1", "--after", "2.5", "--events", "1"]
        words = ["record", "--meter", address, *armed, "--set", "system_v=12", "--set", detail, "--out", out]
        person.types_and_meanwhile(words, "recording to", lambda: _turn_the_key(person, out))


def _drop_test(person: Person) -> None:
    out = "drops.sqlite"
    with person.beside("emulate", "relay-drop-test", "--seed", str(SEED), "--speed", str(SPEED)) as van:
        feed, ground = van.ports
        meters = [
            "--meter",
            f"status14:{feed}?label=feed+side+drop&point=battery_plus+to+plug_feed",
            "--meter",
            f"status14:{ground}?label=ground+side+drop&point=plug_ground",
        ]
        words = ["record", *meters, "--for", "5", "--set", "system_v=12", "--out", out]
        person.types_and_meanwhile(words, "recording to", lambda: _turn_the_key(person, out))


def _ohms(person: Person) -> None:
    with person.beside("emulate", "pump-ohms", "--seed", str(SEED), "--speed", str(SPEED)) as van:
        points = (("pump+winding", "pump_plus+to+pump_minus"), ("ground+path", "pump_minus+to+battery_minus"))
        meters = [
            word
            for port, (label, point) in zip(van.ports, points, strict=True)
            for word in ("--meter", f"status14:{port}?label={label}&point={point}")
        ]
        person.types("record", *meters, "--for", "2", "--set", "lead_ohm=0.3", "--out", "ohms.sqlite")


def _turn_the_key(person: Person, session: str) -> None:
    """Mark the moment; the simulated driver turns the key a little later."""
    person.types("mark", session, "key-on")


def _step_by_step(person: Person, sessions: list[str]) -> list[str]:
    """Answer what `diagnose` asks, from the van, until it is sure."""
    asked: list[str] = []

    def answer(shown: str) -> str:
        doing, place = re.findall(r"^(Measure|Try) next: (.+)$", shown, flags=re.MULTILINE)[-1]
        sure = re.search(r"^ +(?:over )?(\d+) %  [\w ]+: ", shown, flags=re.MULTILINE)
        if len(asked) >= 2 and sure and int(sure[1]) >= _SURE:
            return "end"
        value = _at_the_van(place) if doing == "Measure" else ""
        if value:
            asked.append(place)
        return value or "other"

    person.answers(["diagnose", "--circuit", CIRCUIT, *sessions, "--save", "readings.toml"], answer)
    return asked


def _at_the_van(place: str) -> str:
    """Return what the simulated van shows for a suggestion; empty where the simulation has no such thing (a test
    lamp)."""
    load = next((load for load, words in LOAD_WORDS.items() if words and place.endswith(words)), "connected")
    place = place.removesuffix(LOAD_WORDS[load])
    state = next(state for state, words in STATE_WORDS.items() if place.endswith(words))
    found = re.fullmatch(
        r"(voltage drop|voltage|current|resistance) (?:(?:across|through|from) )?(.+?)(?: to (.+))? ",
        place.removesuffix(STATE_WORDS[state]),
    )
    if found is None or load == "lamp":
        return ""
    quantity, at, to = (name and name.replace(" ", "_") for name in found.groups())
    solved = _van(unplugged=load == "unplugged")
    parts = [part.id for part in solved.circuit.parts]
    if quantity == "current":
        return f"{_value(solved.current(), state):.2f}"
    if at in solved.circuit.commands:
        return f"{solved.source_v[round(_READ_AT_S[state] / STEP_S)]:.2f}"  # the coil's command is as it should be
    if to is None:
        k = parts.index(at)
        at, to = parts[k - 1], at
    signal = solved.resistance(at, to, leads_ohm=0.0) if quantity == "resistance" else solved.voltage(at, to)
    value = _value(signal, state)
    if quantity == "resistance":
        return "open" if np.isinf(value) else f"{value:.1f}"
    return f"{value:.2f}"


def _value(signal: Signal, state: str) -> float:
    return float(signal.value[round(_READ_AT_S[state] / STEP_S)])


def _van(*, unplugged: bool) -> Solved:
    """The van of the scenario, with the key on for a prime, cranked, started."""
    setup = SCENARIOS["relay-high-resistance"].build(np.random.default_rng([SEED, 0]))
    pins = ("plug_feed_pin", "plug_ground_pin") if unplugged else ()
    faults = (*setup.trip.faults, *(Fault(pin, np.inf) for pin in pins))
    trip = Trip(_END_S, ((_KEY_ON_S, _END_S),), ((_CRANK_S, _RUN_S),), ((_RUN_S, _END_S),), faults)
    return replace(setup.vehicle, prime_s=2.0).solve(trip)
