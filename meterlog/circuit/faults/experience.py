"""Fault rates from proved repairs: Dirichlet counts on the guesses, by kind of part.

Where one circuit was repaired N times, n times for a kind whose guessed share of all faults is p, its share becomes
(W p + n) / (W + N): the mean of a Dirichlet distribution whose guesses weigh as W repairs. With several circuits the
expected counts of each are added up, which is the same for one (gamma and Poisson in place of Dirichlet).
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from meterlog.circuit.faults.fault_rates import DEFAULT_RATES, Rates, part_rate
from meterlog.circuit.model.circuit import Circuit
from meterlog.text import figures

GUESSES_WEIGH = 20.0
"""Proved repairs that the guesses weigh as much as: a handful moves them a little, a year's work outweighs them. A
guess."""
MOST_WEIGH = 60.0
"""Repairs beyond so many add no weight: other vehicles break in other ways. A guess."""


@dataclass(frozen=True, slots=True)
class Proved:
    """One proved repair.

    Attributes:
        kind: of the part that was at fault, as fault rates are named.
        expected: the guessed share of each kind in that circuit; sums to 1.
    """

    kind: str
    expected: Mapping[str, float]


def proved(circuit: Circuit, part: str) -> Proved:
    """Return what a proved repair of a part or command of a circuit tells.

    Raises:
        KeyError: the circuit has no such part or command.
    """
    kind = "command" if part in circuit.commands else circuit.parts[circuit.part_index[part]].kind
    guesses: defaultdict[str, float] = defaultdict(float)
    for k, one in enumerate(circuit.parts):
        guesses[one.kind] += part_rate(circuit, k, Rates())
    for command in circuit.commands:
        guesses["command"] += Rates().of(command, "command")
    total = sum(guesses.values())
    return Proved(kind, {name: rate / total for name, rate in guesses.items()})


def rates_from(repairs: Sequence[Proved]) -> Rates:
    """The guesses, moved by what was proved; unmoved without any."""
    if not repairs:
        return Rates()
    weight = min(1.0, MOST_WEIGH / len(repairs))
    count: defaultdict[str, float] = defaultdict(float)
    expected: defaultdict[str, float] = defaultdict(float)
    for one in repairs:
        count[one.kind] += weight
        for kind, share in one.expected.items():
            expected[kind] += weight * share
    total = weight * len(repairs)
    moved = {}
    for kind, times in expected.items():
        guessed = GUESSES_WEIGH * times / total
        if times:
            moved[kind] = DEFAULT_RATES[kind] * (guessed + count[kind]) / (guessed + times)
    jobs = figures.count(len(repairs), "closed job")
    return Rates(moved, f"from {jobs} of yours, beside guesses that weigh as {GUESSES_WEIGH:g} jobs")
