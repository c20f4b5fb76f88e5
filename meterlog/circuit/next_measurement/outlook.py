"""Holds what is still possible as a suggestion looks at it: the cells that matter, and what an outcome would tell.

Expected information is the mutual information between 'which part is it' and what will be seen: the entropy of the
hypotheses now, less what is expected to remain (Lindley 1956, 'On a measure of the information provided by an
experiment').
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from meterlog.circuit.faults.cells import FAULTS, Cells, interrupted, likeliest_healthy
from meterlog.circuit.probability.outside import MODEL_WRONG
from meterlog.circuit.probability.posterior import Posterior
from meterlog.circuit.probability.predict import Network
from meterlog.text.figures import percent

CELLS_KEPT, WEIGHT_KEPT, TWINS_FROM = 400, 1e-5, 1e-3
"""For speed only so many cells count, none below this share of the likeliest one, and contacts that come and go from
this probability on. Guesses."""
SEEN_TO_COME_AND_GO = 0.3
"""From this probability on a reading speaks for a contact that comes and goes; before the first one it is 0.1. A
guess."""
RARE_OUTCOME, RARE_CAUSE = 0.01, 0.05
"""Outcomes, and what they would mean, are not listed below these probabilities. Guesses."""

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Outlook:
    """The k cells that matter, with what the readings made of their unknowns, which spread by `spreads`.

    `by_group` are their weights, each in the row of its hypothesis; `by_part`, in the rows of the parts at fault in it
    (two for a pair), the probabilities that are called; `loose` is the contact that comes and goes in it (a part, or
    from n on a command), -1 for none. `outside` is the probability that the readings fit nothing in this circuit.
    """

    network: Network
    weight: Array
    by_group: Array
    by_part: Array
    mean: Array
    root: Array
    spreads: Array
    loose: NDArray[np.int64]
    outside: float


def groups_of(cells: Cells) -> NDArray[np.int64]:
    """Number the hypothesis that each cell belongs to, shape (K,): a part, a pair of parts, not commanded,
    healthy, or something else that hangs on a fuse."""
    n = cells.ohm.shape[1]
    first, second = cells.part[:, 0], cells.part[:, 1]
    group = np.where(second >= 0, n + 2 + first * n + second, first)
    group[cells.fault == FAULTS.index("healthy")] = n
    missing = cells.command_at >= 0
    group[missing] = n * (n + 2) + cells.command_at[missing]
    elsewhere = cells.fault == FAULTS.index("branch_shorted")
    group[elsewhere] = n * (n + 3) + first[elsewhere]
    return group


def outlook_of(network: Network, known: Posterior, *, unseen: bool = False) -> Outlook:
    """The cells that matter. A contact that comes and goes stands in as two cells, good and open; with `unseen` also
    while no reading speaks for one."""
    order = np.argsort(-known.weight)[:CELLS_KEPT]
    keep = np.sort(order[known.weight[order] > WEIGHT_KEPT * known.weight[order[0]]])
    groups = groups_of(network.cells)
    good = likeliest_healthy(network.cells, known.weight)
    twin, twin_weight, twin_of = _twins(network.cells, known, good, unseen)
    # a contact that comes and goes leaves the rest of the vehicle as it is where nothing is wrong
    mean, covariance = known.unknowns(np.concatenate([keep, np.full(len(twin), good)]))
    twin_group = _numbered(network.cells, twin_of)
    _, group = np.unique(np.concatenate([groups[keep], twin_group]), return_inverse=True)
    weight = np.concatenate([known.weight[keep], twin_weight])
    called = weight * (1 - MODEL_WRONG)  # as a part's probability is: what comes and goes unseen has its share of it
    weight = weight / weight.sum()
    width = mean.shape[1]
    return Outlook(
        network.among(np.concatenate([keep, twin])),
        weight,
        (group[None, :] == np.arange(group.max() + 1)[:, None]) * weight,
        _parts_of(network.cells, np.concatenate([keep, twin]), len(keep), twin_of) * called,
        mean,
        np.asarray(np.linalg.cholesky(covariance + 1e-9 * np.eye(width))),
        known.fit.spreads,
        np.concatenate([np.full(len(keep), -1), twin_of]),
        known.outside,
    )


def works_or_not(outlook: Outlook) -> Outlook:
    """The same where only one thing is asked: whether anything in the circuit is at fault."""
    works = (outlook.network.cells.fault == FAULTS.index("healthy")) & (outlook.loose < 0)
    by_answer = np.stack([works, ~works]) * outlook.weight
    return replace(outlook, by_group=by_answer, by_part=by_answer)


def _parts_of(cells: Cells, rows: NDArray[np.int64], kept: int, twin_part: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Tell which part, command or nothing (the last row) is at fault in each cell, shape (2 n + 1, k)."""
    n = cells.ohm.shape[1]
    every = np.arange(n)[:, None]
    member = (cells.part[rows, 0] == every) | (cells.part[rows, 1] == every)
    member[:, kept:] = twin_part == every
    missing = cells.command_at[rows] == every
    missing[:, kept:] = False
    healthy = cells.fault[rows] == FAULTS.index("healthy")
    healthy[kept:] = False
    return np.concatenate([member & ~missing.any(axis=0), missing, healthy[None, :]])


def _twins(
    cells: Cells, known: Posterior, good: int, unseen: bool
) -> tuple[NDArray[np.int64], Array, NDArray[np.int64]]:
    """Cells, weights and places (a part, from n on a command) of the contacts that come and go in a vehicle that is
    else as in the cell `good`; none while no reading speaks for one or saw the circuit fail, since what was not seen to
    fail cannot be measured, unless `unseen`."""
    comes = known.comes_and_goes.sum()
    if (
        not unseen
        and comes < SEEN_TO_COME_AND_GO
        and comes < known.weight[cells.fault == FAULTS.index("healthy")].sum()
    ):
        return np.array([], int), np.array([]), np.array([], int)
    twin: list[int] = []
    weight: list[float] = []
    place: list[int] = []
    for k in np.flatnonzero(known.comes_and_goes > TWINS_FROM):
        twin += [good, interrupted(cells, int(k), good)]
        weight += [float(known.comes_and_goes[k]) * share for share in (known.good_next[k], 1 - known.good_next[k])]
        place += [int(k)] * 2
    return np.array(twin, int), np.array(weight), np.array(place, int)


def _numbered(cells: Cells, place: NDArray[np.int64]) -> NDArray[np.int64]:
    """The hypotheses of contacts that come and go, as `groups_of` numbers them."""
    n = cells.ohm.shape[1]
    return np.where(place < n, place, n * (n + 2) + place - n)


def information(outlook: Outlook, chance: Array, outside: Array | None = None) -> float:
    """Mutual information between the hypothesis and the bin of what is read, bits.

    Args:
        outlook: the hypotheses.
        chance: shape (k, bins), the probability of each bin in each cell.
        outside: shape (bins,), the same in a vehicle that is not as the file says, which is one more hypothesis then;
            left out where nobody knows.
    """
    joint = outlook.by_group @ chance
    if outside is not None:
        joint = np.concatenate([(1 - outlook.outside) * joint, outlook.outside * outside[None, :]])
    return _entropy(joint.sum(1)) + _entropy(joint.sum(0)) - _entropy(joint.ravel())


def _entropy(p: Array) -> float:
    p = p[p > 1e-12]
    return float(-(p * np.log2(p)).sum())


def right_after(outlook: Outlook, chance: Array) -> float:
    """The probability to be right with the likeliest part once one of the outcomes was seen; `chance` of shape (k,
    outcomes)."""
    return float((outlook.by_part @ chance).max(axis=0).sum())


def meanings(outlook: Outlook, names: Sequence[str], chance: Array) -> tuple[tuple[str, str], ...]:
    """List in plain words what may be seen, and the hypotheses that each outcome would leave; `chance` of shape (k,
    outcomes)."""
    label = _labels(outlook)
    found = []
    for name, column in zip(names, chance.T, strict=True):
        weight = outlook.weight * column
        if weight.sum() < RARE_OUTCOME:
            continue
        left: dict[str, float] = {}
        for w, text in zip(weight / weight.sum(), label, strict=True):
            left[text] = left.get(text, 0.0) + float(w)
        ranked = sorted(left.items(), key=lambda item: -item[1])
        shown = [f"{text} ({percent(p)})" for text, p in ranked[:3] if p >= RARE_CAUSE]
        expected = percent(float(weight.sum()))
        found.append((f"{name} (expected {expected} of the time)", "most likely " + ", ".join(shown)))
    return tuple(found)


def _labels(outlook: Outlook) -> list[str]:
    cells, circuit = outlook.network.cells, outlook.network.circuit
    n = len(circuit.parts)
    names = []
    for c in range(len(cells)):
        parts = [circuit.parts[k].id for k in cells.part[c] if k >= 0]
        if cells.command_at[c] >= 0:
            parts = [circuit.parts[cells.command_at[c]].command]
        if (loose := int(outlook.loose[c])) >= 0:  # its good moments are no sound circuit
            parts = [circuit.parts[loose].id if loose < n else circuit.parts[loose - n].command]
        names.append(" with ".join(parts) or "no fault")
    return names
