"""Applies Bayes' rule to the cells and to the contacts that come and go, once the readings are in."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from meterlog.circuit.probability.facts import comes_and_goes_log
from meterlog.circuit.probability.fit import NO_WORTH, Fit
from meterlog.circuit.probability.intermittent import comes_and_goes
from meterlog.circuit.probability.outside import log_outside
from meterlog.circuit.probability.predict import Network
from meterlog.circuit.probability.trials import tried_log, works
from meterlog.circuit.readings.measurement import Measurement, Told
from meterlog.circuit.readings.observed import Observed

DEAD_FOR_SURE = 0.97
"""Share of complaints of a dead load in which it does not work. A guess."""

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Posterior:
    """The probabilities after the readings.

    Attributes:
        weight: shape (K,), the cells' probabilities; with `comes_and_goes` and `outside` they sum to 1.
        comes_and_goes: shape (2n,), the probability that each part's contact comes and goes; then of its command.
        outside: the probability that the readings fit nothing in this circuit.
        bad: shape (M,), the probability that each reading is a bad one; 1 where it was set aside.
        used: positions of the readings that say anything, the rows of `fit`.
        fit: the joint Gaussian of those.
        bad_in: shape (K, len(used)), the probability that each is a bad one, by cell.
    """

    weight: Array
    comes_and_goes: Array
    outside: float
    bad: Array
    used: tuple[int, ...]
    fit: Fit
    bad_in: Array

    def unknowns(self, keep: NDArray[np.int64]) -> tuple[Array, Array]:
        """Estimate the unknowns in some cells from the readings: mean, shape (k, P), and covariance, shape (k, P, P),
        in prior standard deviations. Readings that are likely bad in a cell are left out there."""
        slope, residual = self.fit.slope[keep], self.fit.residual[keep]
        count = residual.shape[1]
        covariance = self.fit.covariance[keep].copy()
        covariance[:, range(count), range(count)] += np.where(self.bad_in[keep] > 0.5, NO_WORTH, 0.0)
        gain = slope.transpose(0, 2, 1) @ np.linalg.inv(covariance)
        mean = np.einsum("kpm,km->kp", gain, residual)
        return mean, np.eye(slope.shape[2]) - gain @ slope


def posterior(
    network: Network,
    measured: Sequence[Measurement],
    tried: Sequence[Told],
    comes_share: float,
    *,
    dead: bool = False,
) -> Posterior:
    """The cells' probabilities.

    Args:
        network: the circuit and its cells.
        measured: M readings.
        tried: what was tried and observed.
        comes_share: prior probability that the fault comes and goes.
        dead: the load is known not to work at all in the vehicle.
    """
    cells = network.cells
    base = np.log(np.maximum(cells.prior, 1e-300)) + tried_log(network, tried)
    if dead:
        base = base + np.log(1 - DEAD_FOR_SURE * works(network))
    predictions = [network.predict(m) for m in measured]
    used = [k for k, p in enumerate(predictions) if not np.isnan(p.mean).any()]
    fit = Fit(network, measured, used)
    log_like, bad = fit.likelihood()
    fit.leave_out(bad)
    total = base + log_like
    comes = comes_and_goes(network, fit, base, comes_share)
    for one in tried:
        if isinstance(one, Observed):
            comes = comes + comes_and_goes_log(network, one)
    outside = log_outside(cells, fit, base)
    top = max(float(total.max()), float(comes.max()), outside)
    weight, comes_weight, outside_weight = np.exp(total - top), np.exp(comes - top), math.exp(outside - top)
    whole = weight.sum() + comes_weight.sum() + outside_weight
    bad_all = np.zeros(len(measured))
    if used:
        bad_all[used] = (weight[:, None] * bad).sum(axis=0) / weight.sum()
    return Posterior(
        weight / whole, comes_weight / whole, float(outside_weight / whole), bad_all, tuple(used), fit, bad
    )
