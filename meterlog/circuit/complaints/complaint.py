"""A complaint: the circuits that may be behind it, the quick looks, and what each answer makes likely."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from meterlog.errors import CircuitError, did_you_mean

ENOUGH = 0.8
"""From this probability on a circuit is chosen. A choice."""


@dataclass(frozen=True, slots=True)
class Look:
    """Something to look at or listen to without a tool.

    Attributes:
        key: its name in a job, for example `prime_heard`.
        question: what a person is asked.
        minutes: what it takes.
        answers: each answer with its probability in each circuit; the answers of one circuit add up to 1.
    """

    key: str
    question: str
    minutes: float
    answers: Mapping[str, Mapping[str, float]]


@dataclass(frozen=True, slots=True)
class Complaint:
    """Holds what a driver says, and where it may come from.

    Attributes:
        id: the name of its file.
        text: the words it is known by.
        also: other words for it.
        circuits: each with its probability before anything was looked at; they add up to 1.
        names: what is no circuit of this program, in a sentence with the way on.
        looks: in the order of the file.
        engine_runs: whether the engine can be run, so that something may be measured then.
        comes_and_goes: whether it is sound between two failures: readings that are good then clear nothing.
    """

    id: str
    text: str
    also: tuple[str, ...]
    circuits: Mapping[str, float]
    names: Mapping[str, str]
    looks: tuple[Look, ...]
    engine_runs: bool = True
    comes_and_goes: bool = False

    def look(self, key: str) -> Look:
        """Return the look of that key.

        Raises:
            CircuitError: there is none, with the nearest.
        """
        for look in self.looks:
            if look.key == key:
                return look
        keys = [look.key for look in self.looks]
        raise CircuitError(f"'{self.text}' has no look '{key}'{did_you_mean(key, keys)}; it has {', '.join(keys)}")


@dataclass(frozen=True, slots=True)
class Standing:
    """Says where a complaint stands after some answers.

    Attributes:
        chances: each circuit with its probability, likeliest first.
        chosen: the circuit that carries `ENOUGH`; empty while none does.
        next: the look worth most a minute; None where one is chosen or no look is left.
    """

    chances: Mapping[str, float]
    chosen: str
    next: Look | None


def standing(complaint: Complaint, observed: Mapping[str, str]) -> Standing:
    """Weigh the answers by Bayes' rule, and choose the next look by the bits it is expected to tell a minute.

    Args:
        complaint: with its circuits and looks.
        observed: answers by key; keys that are no look of this complaint are passed over, and so is `unknown`.

    Raises:
        CircuitError: an answer that the look does not have.
    """
    chances = dict(complaint.circuits)
    for look in complaint.looks:
        if (answer := observed.get(look.key)) is None or answer == "unknown":
            continue
        chances = _after(chances, likelihood(look, answer))
    ranked = dict(sorted(chances.items(), key=lambda item: -item[1]))
    best = next(iter(ranked))
    if ranked[best] >= ENOUGH:
        return Standing(ranked, best, None)
    left = [look for look in complaint.looks if look.key not in observed]
    return Standing(ranked, "", max(left, key=lambda look: _gain(chances, look) / look.minutes, default=None))


def likelihood(look: Look, answer: str) -> Mapping[str, float]:
    """Return how likely an answer is in each circuit.

    Raises:
        CircuitError: the look does not have it, with the nearest.
    """
    known = look.answers
    if answer not in known:
        raise CircuitError(f"'{look.key}' is answered by {', '.join(known)} or unknown, not '{answer}'")
    return known[answer]


def _after(chances: Mapping[str, float], likely: Mapping[str, float]) -> dict[str, float]:
    products = {name: chance * likely[name] for name, chance in chances.items()}
    total = sum(products.values())
    return {name: product / total for name, product in products.items()}


def _gain(chances: Mapping[str, float], look: Look) -> float:
    """The information that the look is expected to give about the circuit, bits (mutual information)."""
    left = 0.0
    for likely in look.answers.values():
        share = sum(chance * likely[name] for name, chance in chances.items())
        if share > 0:
            left += share * _entropy(_after(chances, likely))
    return _entropy(chances) - left


def _entropy(chances: Mapping[str, float]) -> float:
    return -sum(chance * math.log2(chance) for chance in chances.values() if chance > 0)
