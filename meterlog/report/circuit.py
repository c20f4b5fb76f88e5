"""A report's part about a circuit: the chain of parts, what was read where, what that excludes and what remains."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from meterlog.cautions import DEFERS, Act
from meterlog.circuit.acts import beginning
from meterlog.circuit.diagnosis import Diagnoser, Diagnosis
from meterlog.circuit.hypotheses import Hypothesis
from meterlog.circuit.model.chain_text import branch_heads
from meterlog.circuit.model.circuit import Circuit
from meterlog.circuit.model.part import Part
from meterlog.circuit.next_measurement.propose import Step
from meterlog.circuit.next_measurement.suggest import Suggestion
from meterlog.circuit.readings.measurement import Measurement
from meterlog.circuit.readings.trial import Told
from meterlog.text.figures import percent
from meterlog.text.ids import plain

REMAINS = 0.02
"""From this probability on a part is among those that remain."""
EXCLUDED_BY = 4.0
"""A part is called excluded by the readings when they made it this many times less likely than it was before; others
below `REMAINS` were rare from the start."""
_WORDS = ((0.9, "nearly certain"), (0.5, "likely"), (0.1, "possible"), (REMAINS, "unlikely"), (0.0, "very unlikely"))
"""Least probability for each word; a choice."""


@dataclass(frozen=True, slots=True)
class Chance:
    """A probability as it is shown: a word, a figure and the length of its bar.

    Attributes:
        name: of what.
        word: from 'nearly certain' to 'very unlikely'.
        share: for example `85 %`.
        width: of the bar, per cent.
        fault: what is wrong with it if it is this; empty where it is very unlikely.
    """

    name: str
    word: str
    share: str
    width: float
    fault: str


@dataclass(frozen=True, slots=True)
class Link:
    """A part of the chain, what closes it, and the node after it.

    Attributes:
        part: its chance.
        kind: for example `fuse`; empty where the name says it.
        command: the chance of what closes it; None where nothing does.
        branch: where the branch that it begins leaves and joins again; empty within the chain.
        points: names of the places where a probe can touch, after it.
        readings: what was read there or across it.
    """

    part: Chance
    kind: str
    command: Chance | None
    branch: str
    points: str
    readings: list[str]


@dataclass(frozen=True, slots=True)
class Remaining:
    """A part that may be at fault, with the sentences for and against it."""

    chance: Chance
    speaks_for: list[str]
    speaks_against: list[str]


@dataclass(frozen=True, slots=True)
class CircuitPart:
    """The circuit's part of the report; `mind` is for the next measurement, `act` for all of the circuit."""

    name: str
    act: Act
    verdict: str
    healthy: Chance
    chain: list[Link]
    tried: list[str]
    readings: int
    remaining: list[Remaining]
    excluded: list[str]
    rare: list[str]
    check: list[str]
    enough: str
    next: str
    next_minutes: str
    outcomes: list[tuple[str, str]]
    mind: list[str]
    not_used: list[str]
    rates: str


def circuit_part(
    diagnoser: Diagnoser, measured: Sequence[Measurement], tried: Sequence[Told], not_used: Sequence[str] = ()
) -> CircuitPart:
    """Diagnose, and put it into words; `not_used` says which channels of the sessions could not be used."""
    found = diagnoser.diagnose(measured, tried, suggestions=1)
    circuit = diagnoser.circuit
    by_id = {h.part: h for h in found.hypotheses}
    best = found.steps[0] if found.steps else None
    excluded, rare = _excluded(diagnoser, measured, tried)
    return CircuitPart(
        name=circuit.name,
        act=beginning(circuit),
        verdict=_sentence(found.verdict.removesuffix(f"; {DEFERS}.")),
        healthy=_chance("nothing wrong in this circuit", found.healthy),
        chain=_chain(circuit, by_id, measured),
        tried=[plain(str(one)) for one in tried],
        readings=len(measured),
        remaining=_remaining(found),
        excluded=excluded,
        rare=rare,
        check=[plain(sentence) for sentence in found.inconsistent],
        enough=plain(found.enough),
        next=_named(best) if best else "",
        next_minutes=f"{best.minutes:.0f} min" if best else "",
        outcomes=[(seen, plain(meaning)) for seen, meaning in best.outcomes] if best else [],
        mind=[*(best.notes if best else found.repair_cautions)],
        not_used=list(not_used),
        rates=found.rates_source,
    )


def _sentence(text: str) -> str:
    said = plain(text)
    return f"{said[:1].upper()}{said[1:]}."


def _named(step: Step) -> str:
    if not isinstance(step, Suggestion):
        return plain(step.title)
    words = plain(f"{step.measurement.quantity} {step.place}")
    return words[:1].upper() + words[1:]


def _chance(name: str, probability: float, found: Hypothesis | None = None) -> Chance:
    word = next(word for least, word in _WORDS if probability >= least)
    share = "under 1 %" if probability < 0.01 else percent(probability)
    told = found is not None and probability >= REMAINS
    fault = found.title if found is not None and told else ""
    return Chance(plain(name), word, share, round(100 * min(1.0, max(0.0, probability)), 1), fault)


def _chain(circuit: Circuit, by_id: dict[str, Hypothesis], measured: Sequence[Measurement]) -> list[Link]:
    links = []
    heads = branch_heads(circuit)
    for place, part in enumerate(circuit.parts):
        here = [m for m in measured if _place(circuit, m) == place]
        points = [plain(point.id) for point in circuit.points if point.after == part.id]
        links.append(
            Link(
                part=_of(part.id, by_id),
                kind=_kind(part),
                command=_of(part.command, by_id) if part.command else None,
                branch=plain(heads.get(place, "")),
                points=" = ".join(points),
                readings=[plain(str(m)) for m in here],
            )
        )
    return links


def _of(id_: str, by_id: dict[str, Hypothesis]) -> Chance:
    found = by_id.get(id_)
    return _chance(id_, found.probability if found else 0.0, found)


def _kind(part: Part) -> str:
    kind = plain(part.kind)
    return "" if kind in plain(part.id) else kind


def _place(circuit: Circuit, m: Measurement) -> int:
    """The part after which a reading is shown."""
    return circuit.commands[m.at] if m.at in circuit.commands else circuit.node(m.at)


def _remaining(found: Diagnosis) -> list[Remaining]:
    return [
        Remaining(
            _chance(h.part, h.probability, h), [plain(s) for s in h.speaks_for], [plain(s) for s in h.speaks_against]
        )
        for h in found.hypotheses
        if h.probability >= REMAINS
    ]


def _excluded(
    diagnoser: Diagnoser, measured: Sequence[Measurement], tried: Sequence[Told]
) -> tuple[list[str], list[str]]:
    """Names of what the readings exclude, and of what was rare before any reading; nobody is in both."""
    before, after = (diagnoser.weigh(*seen) for seen in (((), ()), (measured, tried)))
    prior = diagnoser.chances(before.weight, before.comes_and_goes)
    excluded: list[str] = []
    rare: list[str] = []
    for id_, now in diagnoser.chances(after.weight, after.comes_and_goes).items():
        if id_ != "healthy" and now < REMAINS:
            (excluded if now * EXCLUDED_BY <= prior[id_] else rare).append(plain(id_))
    return excluded, rare
