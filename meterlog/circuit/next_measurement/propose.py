"""Proposes what to try: what mechanics do beside measuring, weighed by the same information per minute."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from meterlog.circuit.next_measurement.attempt_words import cautions, how, result_words, title
from meterlog.circuit.next_measurement.attempts import Attempt, attempts, needs_dead_load, warming_up
from meterlog.circuit.next_measurement.instructions import Instruction
from meterlog.circuit.next_measurement.outlook import Array, Outlook, information, meanings, right_after
from meterlog.circuit.next_measurement.suggest import LEAST_BITS, Suggestion
from meterlog.circuit.probability.facts import chance_of, comes_and_goes_log
from meterlog.circuit.probability.trials import outcome, works
from meterlog.circuit.probability.when_hot import FAILS_WHEN_WARM
from meterlog.circuit.readings.measurement import Measurement
from meterlog.circuit.readings.trial import Told, Tried

WORKS_TOO_LIKELY = 0.3
"""From this probability on that the load works, nobody is sent to bridge, feed or swap anything. A guess."""

GUESSED = 0.6
"""Of a trial's information so much counts: how likely each result is, is a guess, where a reading's is worked out; and
a figure can be held against others later. A guess."""


@dataclass(frozen=True, slots=True)
class Proposal:
    """One thing worth trying.

    Attributes:
        attempt: what, and everything that may come of it.
        title: it in a few words.
        how: the way it is done.
        gain_bits: expected information, bits, as far as it counts (`GUESSED`).
        outcomes: (what may come of it, what that would mean).
        cautions: what to mind, the most dangerous first; may be empty.
        right_after: the probability that the likeliest hypothesis is the right one, as expected afterwards.
    """

    attempt: Attempt
    title: str
    how: Instruction
    gain_bits: float
    outcomes: tuple[tuple[str, str], ...]
    cautions: tuple[str, ...]
    right_after: float

    @property
    def minutes(self) -> float:
        """Return what it takes."""
        return self.attempt.minutes

    @property
    def place(self) -> str:
        """It in a few words, the same each time."""
        return self.attempt.place

    @property
    def notes(self) -> tuple[str, ...]:
        """All that is to be minded."""
        return self.cautions

    def as_json(self) -> dict[str, object]:
        """The object of `diagnose --json`."""
        row = self.attempt.row
        return {
            "kind": "try",
            "text": self.how.text,
            "tried": None if "observed" in row else row,
            "observed": row.get("observed"),
            "answers": list(self.attempt.answers),
            **dict.fromkeys(("measure", "to", "state", "load")),
            "at": self.attempt.at or None,
            "gain_bits": round(self.gain_bits, 4),
            "minutes": round(self.minutes, 2),
            "outcomes": [{"if": a, "then": b} for a, b in self.outcomes],
            "caution": " ".join(self.notes),
        }


Step = Suggestion | Proposal
"""Says what may come next: a measurement, or something to try."""


def propose(
    outlook: Outlook,
    measured: Sequence[Measurement],
    tried: Sequence[Told],
    least_bits: float = LEAST_BITS,
    least_a_minute: float = 0.0,
) -> list[Proposal]:
    """Everything that is worth trying, in order of information per minute; none below `least_bits`, or below
    `least_a_minute` bits a minute."""
    circuit = outlook.network.circuit
    works_now = float((outlook.weight * works(outlook.network)).sum())
    found = []
    for attempt in attempts(circuit, measured, tried):
        if needs_dead_load(attempt) and works_now > WORKS_TOO_LIKELY:
            continue
        chance = _chances(outlook, attempt)
        bits = GUESSED * information(outlook, chance)
        if bits >= least_bits and bits / attempt.minutes >= least_a_minute:
            found.append(_proposal(outlook, attempt, chance))
    return sorted(found, key=worth, reverse=True)


def warming(outlook: Outlook) -> Proposal:
    """Warming it up, whatever it tells: where cold readings are used up, nothing else is left."""
    attempt = warming_up(outlook.network.circuit)
    return _proposal(outlook, attempt, _chances(outlook, attempt))


def _chances(outlook: Outlook, attempt: Attempt) -> Array:
    """The probability of each result in each cell, shape (k, results)."""
    chance = np.stack([_chance(outlook, one) for one in attempt.results], axis=1)
    return np.asarray(chance / chance.sum(axis=1, keepdims=True))


def _proposal(outlook: Outlook, attempt: Attempt, chance: Array) -> Proposal:
    circuit = outlook.network.circuit
    return Proposal(
        attempt,
        title(circuit, attempt),
        how(circuit, attempt),
        GUESSED * information(outlook, chance),
        meanings(outlook, [result_words(circuit, one) for one in attempt.results], chance),
        cautions(circuit, attempt),
        right_after(outlook, chance),
    )


def in_order(suggestions: Sequence[Suggestion], proposals: Sequence[Proposal]) -> tuple[Step, ...]:
    """Merge measurements with what is worth trying."""
    return tuple(sorted([*suggestions, *proposals], key=worth, reverse=True))


def worth(step: Step) -> float:
    """Return its information per minute, bits."""
    return step.gain_bits / step.minutes


def _chance(outlook: Outlook, one: Told) -> Array:
    """The probability of one result in each cell, shape (k,); a contact that comes and goes shows when it is moved."""
    if isinstance(one, Tried):
        return outcome(outlook.network, one)
    chance = chance_of(outlook.network, one)
    loose = outlook.loose >= 0
    if one.key == FAILS_WHEN_WARM:  # it is warmed up first: cold, its open moments are next to none
        chance[loose] = sum(one.likelihood) / 2
    chance[loose] *= np.exp(comes_and_goes_log(outlook.network, one)[outlook.loose[loose]])
    return chance
