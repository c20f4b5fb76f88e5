"""Holds one part at fault with what speaks for it, and makes it of the cells' probabilities."""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from meterlog.circuit.evidence.behind_command import Behind, behind_command
from meterlog.circuit.evidence.for_and_against import BAND, Case, Suspect, comes_and_goes_evidence, evidence
from meterlog.circuit.evidence.lost_voltage import heaviest_first
from meterlog.circuit.faults.cells import COMMAND_FAULTS, FAULTS, Cells, first_healthy
from meterlog.circuit.model.circuit import Circuit
from meterlog.circuit.probability.outside import MODEL_WRONG
from meterlog.circuit.probability.predict import Network
from meterlog.circuit.probability.unknowns import FAULT_1, LOGISTIC
from meterlog.circuit.words import ohm_band
from meterlog.text.ids import plain

CELLS_OF_BAND = 1e-6
"""Cells below this share of a part's likeliest one do not count for its band."""
LIKELY = 0.5
"""From this probability on, a part is 'most likely', and two faults or a loose contact are the verdict. A guess."""
LEAST_SHOWN = 0.005
"""Parts below this probability are not listed, but the likeliest. A guess."""

Array = NDArray[np.float64]

_FAULT_WORDS = {
    "open": "is open",
    "high_resistance": "has too much resistance",
    "short_to_ground": "is shorted to ground and has blown the fuse",
    "wrong_size": "has blown and is of too small a size",
    "branch_shorted": "has blown since something else that hangs on it is shorted",
    "not_commanded": "is not commanded",
    "half_commanded": "is commanded in one position of the key and not in another",
    "weakly_commanded": "is too weak to close the contact",
    "stuck_closed": "never opens",
    "leaks": "is wet or dirty and leaks to another contact",
    "fed_elsewhere": "gets a feed from elsewhere, past the open contact",
    "stalled": "stands still and draws its stall current",
    "intermittent": "comes and goes",
}


@dataclass(frozen=True, slots=True)
class Hypothesis:
    """One part at fault.

    Attributes:
        part: its id; for a command that never comes, the command's id.
        fault: its most likely fault, one of `FAULTS`.
        probability: that this part is at fault, alone or with another; the sum over parts may exceed 1.
        resistance_ohm: the 90 % band of its fault resistance, ohm, inf for open; None where it has none.
        speaks_for: sentences.
        speaks_against: sentences.
        words: the fault as a person says it, to follow the part's name: `is open`, `draws too much current`.
        behind: what may be behind a command that does not come, with the way on; empty for a part.
    """

    part: str
    fault: str
    probability: float
    resistance_ohm: tuple[float, float] | None
    speaks_for: tuple[str, ...]
    speaks_against: tuple[str, ...]
    words: str
    behind: tuple[Behind, ...] = ()

    @property
    def title(self) -> str:
        """The fault's name with its resistance or, where the name says little, what it does."""
        if self.fault == "weak":
            return self.words.removeprefix("is ")
        return plain(self.fault) + ohm_band(self.resistance_ohm)

    def as_json(self) -> dict[str, object]:
        """The object of `diagnose --json`; infinity as null."""
        band = self.resistance_ohm
        return {
            "part": self.part,
            "fault": self.fault,
            "probability": round(self.probability, 4),
            "resistance_ohm": None if band is None else [_finite(band[0]), _finite(band[1])],
            "for": list(self.speaks_for),
            "against": list(self.speaks_against),
            **({"behind": [one.as_json() for one in self.behind]} if self.behind else {}),
        }


def suspects_of(circuit: Circuit, cells: Cells) -> list[Suspect]:
    """Every part and command, and nothing, with their cells."""
    parts = [Suspect(part.id, (cells.part == k).any(axis=1)) for k, part in enumerate(circuit.parts)]
    commands = [Suspect(command, cells.command_at == k) for command, k in circuit.commands.items()]
    return [*parts, *commands, Suspect("", cells.fault == FAULTS.index("healthy"))]


def chances_of(circuit: Circuit, cells: Cells, weight: Array, comes_and_goes: Array) -> dict[str, float]:
    """The probability that each part or command is at fault, and of 'healthy', with what `MODEL_WRONG` leaves."""
    found = {}
    weight = (1 - MODEL_WRONG) * weight + MODEL_WRONG * cells.prior
    comes_and_goes = (1 - MODEL_WRONG) * comes_and_goes
    for k, part in enumerate(circuit.parts):
        found[part.id] = float(weight[(cells.part == k).any(axis=1)].sum() + comes_and_goes[k])
    for command, k in circuit.commands.items():
        found[command] = float(weight[cells.command_at == k].sum() + comes_and_goes[len(circuit.parts) + k])
    found["healthy"] = float(weight[cells.fault == FAULTS.index("healthy")].sum())
    return found


def hypotheses_of(
    case: Case,
    told: Case | None,
    suspects: Sequence[Suspect],
    chances: Mapping[str, float],
    lost: Mapping[str, float],
) -> tuple[Hypothesis, ...]:
    """Every part and command worth a line, the likeliest first.

    Args:
        case: the readings with what they make of the cells.
        told: the same without what repeats an earlier reading, for the sentences; None for no sentences.
        suspects: every part and command with its cells.
        chances: how likely each is at fault.
        lost: the volts that each of two parts at fault takes: what explains the complaint comes before what is merely
            not ideal, however sure that is.
    """
    ranked = sorted(chances, key=lambda id_: -chances[id_])
    likely_ones = [id_ for id_ in ranked if chances[id_] >= LIKELY]
    ranked = [*heaviest_first(likely_ones, lost), *ranked[len(likely_ones) :]]
    shown = [id_ for id_ in ranked if chances[id_] >= LEAST_SHOWN or id_ == ranked[0]]
    return tuple(_hypothesis(case, told, suspects, id_, chances[id_]) for id_ in shown)


def _hypothesis(case: Case, told: Case | None, suspects: Sequence[Suspect], id_: str, probability: float) -> Hypothesis:
    """One part or command with its fault, as `case` has it, and the sentences of `told`, which repeats nothing."""
    circuit, cells, weight = case.network.circuit, case.network.cells, case.known.weight
    this = next(suspect for suspect in suspects if suspect.name == id_)
    member = this.member
    if id_ in circuit.commands:
        ways = {f: float(weight[member & (cells.fault == FAULTS.index(f))].sum()) for f in COMMAND_FAULTS}
        k = len(circuit.parts) + circuit.commands[id_]
        ways["intermittent"] = float(case.known.comes_and_goes[k])
        fault, band = max(ways, key=lambda name: ways[name]), None
    else:
        k = circuit.part_index[id_]
        by_fault = {f: float(weight[member & (cells.fault == FAULTS.index(f))].sum()) for f in FAULTS}
        by_fault["intermittent"] += float(case.known.comes_and_goes[k])
        # a pair is open where either part is: the fault of this one is told by its own resistance
        pairs = weight * (member & (cells.part[:, 1] >= 0))
        own_open = float(pairs[np.isinf(cells.ohm[:, k])].sum())
        moved = by_fault["open"] - float(weight[member & (cells.part[:, 1] < 0) & (cells.fault == 0)].sum()) - own_open
        by_fault["open"] -= moved
        by_fault["high_resistance"] += moved
        fault = max(by_fault, key=lambda name: by_fault[name])
        band = _band(case, k, member) if fault in ("open", "high_resistance") else None
    sentences: tuple[tuple[str, ...], tuple[str, ...]] = ((), ())
    if told is not None and fault == "intermittent":
        sentences = (comes_and_goes_evidence(case, k), ())
    elif told is not None:
        sentences = evidence(told, this, suspects)
    words = _FAULT_WORDS.get(fault) or _weak_words(case.network, member & (cells.fault == FAULTS.index("weak")), weight)
    if fault != "open":
        words += ohm_band(band)
    behind = behind_command(circuit, fault, case.tried) if id_ in circuit.commands else ()
    return Hypothesis(id_, fault, min(probability, 1.0), band, *sentences, words, behind)


def _weak_words(network: Network, weak: NDArray[np.bool_], weight: Array) -> str:
    """Say how a part is weak: the battery by its voltages, a load by the current that its cells draw."""
    if (network.cells.part[weak, 0] == 0).all():
        if not network.circuit.charges:
            return "is weak or not charged"
        running_v = network.cells.source_v[:, 2]
        over = weight[weak & (running_v > running_v[first_healthy(network.cells)])].sum()
        return "charges too much" if over > weight[weak].sum() / 2 else "does not charge"
    too_much = weight[weak & (network.cells.share > 1)].sum() > weight[weak & (network.cells.share < 1)].sum()
    return "draws too much current" if too_much else "draws too little current"


def _band(case: Case, k: int, member: NDArray[np.bool_]) -> tuple[float, float]:
    """The 90 % band of a part's fault resistance."""
    cells = case.network.cells
    rows = np.flatnonzero(member & (case.known.weight > CELLS_OF_BAND * case.known.weight[member].max()))
    weight = case.known.weight[rows]
    slot = (cells.part[rows, 1] == k).astype(int)
    mean, variance = case.known.unknown(rows, FAULT_1 + slot)
    spread = cells.ohm_spread[rows, slot]
    fault_ohm = cells.ohm[rows, k] - case.network.circuit.healthy_ohm()[k]
    finite = np.isfinite(fault_ohm) & (fault_ohm > 0)
    if not finite.any():
        return (math.inf, math.inf)
    middle = np.log(fault_ohm[finite]) + spread[finite] * mean[finite]
    width = spread[finite] * np.sqrt(np.maximum(variance[finite], 1e-6))
    grid = np.linspace(middle.min() - 3, middle.max() + 3, 400)

    def share_below(log_ohm: float) -> float:
        below = 1 / (1 + np.exp(np.clip(-LOGISTIC * (log_ohm - middle) / width, -50, 50)))
        return float(below @ weight[finite] / weight.sum())

    low, high = (bisect_left(grid, q, key=share_below) for q in BAND)
    return tuple(float(np.exp(grid[i])) if i < len(grid) else math.inf for i in (low, high))  # type: ignore[return-value]


def _finite(value: float) -> float | None:
    return float(f"{value:.4g}") if math.isfinite(value) else None
