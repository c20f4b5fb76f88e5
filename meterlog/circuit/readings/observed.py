"""Observations without an instrument, from TOML or from a person's answers, and what may be answered."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from meterlog.circuit.model.circuit import Circuit
from meterlog.circuit.model.dangerous_names import refuse_dangerous
from meterlog.circuit.model.table_rows import instead
from meterlog.errors import CircuitError, did_you_mean
from meterlog.text.toml import parse_toml

PART = "PART"
"""In the table: any part of the circuit, by its id."""
UNKNOWN = "unknown"
"""The answer of who cannot tell; it says nothing."""
LAMP_AT_PLUG = "lamp_at_plug"
"""An observation that is a reading: of a test lamp."""

Pair = tuple[float, float]
"""Says how likely an answer is where the fact holds, and where it does not."""


@dataclass(frozen=True, slots=True)
class Question:
    """Says what can be observed.

    Attributes:
        key: its name in a file and in a job.
        text: what a person is asked.
        fact: what it tells about, one of `meterlog/circuit/probability/facts.py`; empty where it is a reading.
        answers: each with its likelihoods; `PART` stands for any part.
    """

    key: str
    text: str
    fact: str
    answers: Mapping[str, Pair]


@dataclass(frozen=True, slots=True)
class Observed:
    """One observation.

    Attributes:
        key: of `questions`.
        answer: one of its answers, or the id of a part where those have `PART`.
    """

    key: str
    answer: str

    def __str__(self) -> str:
        return f"{self.key.replace('_', ' ')}: {self.answer}"

    @property
    def fact(self) -> str:
        """Return what it tells about."""
        return questions()[self.key].fact

    @property
    def likelihood(self) -> Pair:
        """Return how likely the answer is where its fact holds, and where it does not."""
        answers = questions()[self.key].answers
        return answers.get(self.answer, answers.get(PART, (1.0, 1.0)))


@cache
def questions() -> Mapping[str, Question]:
    """Return everything that can be observed, by key.

    Raises:
        CircuitError: the table's answers do not add up to 1.
    """
    name = "observations.toml"
    table = parse_toml((files("meterlog.circuit.readings") / name).read_bytes(), name, CircuitError).values
    return {key: _question(key, row, name) for key, row in table.items() if isinstance(row, dict)}


def _question(key: str, row: Mapping[str, object], name: str) -> Question:
    answers = {answer: (float(pair[0]), float(pair[1])) for answer, pair in row.items() if isinstance(pair, list)}
    for side in (0, 1):
        if answers and not math.isclose(sum(pair[side] for pair in answers.values()), 1.0, abs_tol=1e-6):
            raise CircuitError(f"{name}: the answers of '{key}' do not add up to 1")
    return Question(key, str(row["question"]), str(row.get("fact", "")), answers)


def observed_from_table(
    table: Mapping[str, object], circuit: Circuit, where: str, known: Iterable[str] = ()
) -> list[Observed]:
    """Read `observed = {KEY = ANSWER}`; true and false mean yes and no.

    Args:
        table: the answers by key; `unknown` says nothing.
        circuit: what they are about.
        where: begins the sentence of an error.
        known: other keys that are passed over: they tell which circuit it is, not which part.

    Raises:
        CircuitError: naming the key or the answer.
    """
    found = []
    for key, said in table.items():
        if key not in questions():
            if key in known:
                continue
            raise CircuitError(f"{where} nothing is known of '{key[:60]}'{did_you_mean(key, [*questions()])}")
        answer = {True: "yes", False: "no"}.get(said, said) if isinstance(said, bool) else said
        if answer != UNKNOWN and key != LAMP_AT_PLUG:
            found.append(Observed(key, _answer(questions()[key], answer, circuit, where)))
    return found


def _answer(question: Question, answer: object, circuit: Circuit, where: str) -> str:
    known = [word for word in question.answers if word != PART]
    if isinstance(answer, str):
        if answer in known:
            return answer
        refuse_dangerous(answer, where)
        if PART in question.answers and answer in (*circuit.part_index, *circuit.commands):
            return answer
    also = ", the id of a part" if PART in question.answers else ""
    raise CircuitError(f"{where} '{question.key}' is answered by {', '.join(known)}{also} or unknown{instead(answer)}")
