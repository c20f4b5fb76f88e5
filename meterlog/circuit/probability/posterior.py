"""Applies Bayes' rule to the cells and to the contacts that come and go, once the readings are in."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from meterlog.circuit.probability.facts import comes_and_goes_log
from meterlog.circuit.probability.fit import NO_WORTH, Fit, Given
from meterlog.circuit.probability.intermittent import comes_and_goes
from meterlog.circuit.probability.outside import log_outside
from meterlog.circuit.probability.predict import Network
from meterlog.circuit.probability.trials import tried_log, works
from meterlog.circuit.probability.when_hot import WARM_GOOD_NEXT, failed_warm, good_shares
from meterlog.circuit.readings.measurement import Measurement
from meterlog.circuit.readings.observed import Observed
from meterlog.circuit.readings.trial import Told

TIRED_SHARE = 0.6
"""Share of vehicles whose good parts lose about what manuals allow; the others' lose next to nothing.
A guess."""
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
        good_next: shape (2n,), the chance that each, if it comes and goes, is good at the next reading.
    """

    weight: Array
    comes_and_goes: Array
    outside: float
    bad: Array
    used: tuple[int, ...]
    fit: Fit
    bad_in: Array
    good_next: Array

    @cached_property
    def given_others(self) -> Given:
        """Return what each cell makes of each reading, given the others."""
        return self.fit.given_others(self.bad_in)

    def unknowns(self, keep: NDArray[np.int64]) -> tuple[Array, Array]:
        """Estimate the unknowns in some cells from the readings: mean, shape (k, P), and covariance, shape (k, P, P),
        in prior standard deviations. Readings that are likely bad in a cell are left out there."""
        slope = self.fit.slopes(keep)
        gain = np.linalg.solve(self._covariance(keep), slope).transpose(0, 2, 1)
        mean = np.einsum("kpm,km->kp", gain, self.fit.residual[keep])
        return mean, np.eye(slope.shape[2]) - gain @ slope

    def unknown(self, keep: NDArray[np.int64], which: NDArray[np.int64]) -> tuple[Array, Array]:
        """Estimate one unknown in each of some cells (see `unknowns`): mean and variance, shape (k,)."""
        slope = self.fit.slopes_of(keep, which)
        gain = np.linalg.solve(self._covariance(keep), slope[:, :, None])[:, :, 0]
        return (gain * self.fit.residual[keep]).sum(axis=1), 1 - (gain * slope).sum(axis=1)

    def _covariance(self, keep: NDArray[np.int64]) -> Array:
        """The readings' covariance in some cells, without those that are likely bad there, shape (k, M, M)."""
        covariance = self.fit.covariance(keep)
        every = range(covariance.shape[1])
        covariance[:, every, every] += np.where(self.bad_in[keep] > 0.5, NO_WORTH, 0.0)
        return covariance


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
    used = [k for k, p in enumerate(network.predict_all(measured)) if not np.isnan(p.mean).any()]
    tired = Fit(network, measured, used)
    weighed = [
        _weighed(network, fit, base, share, tried, comes_share)
        for share, fit in ((TIRED_SHARE, tired), (1 - TIRED_SHARE, tired.spread(network.good.fresh)))
    ]
    top = max(float(one.log.max()) for one in weighed)
    whole = sum(float(np.exp(one.log - top).sum()) for one in weighed)
    together = np.add(*(np.exp(one.log - top) for one in weighed)) / whole
    likelier = max(weighed, key=lambda one: float(np.logaddexp.reduce(one.log)))
    bad_all = np.zeros(len(measured))
    if used:
        each = np.exp(likelier.log[: len(cells)] - likelier.log[: len(cells)].max())
        bad_all[used] = (each[:, None] * likelier.bad).sum(axis=0) / each.sum()
    weight, comes, outside = np.split(together, [len(cells), len(together) - 1])
    good = np.full(len(comes), WARM_GOOD_NEXT) if failed_warm(tried) else likelier.good
    return Posterior(weight, comes, float(outside[0]), bad_all, tuple(used), likelier.fit, likelier.bad, good)


@dataclass(frozen=True)
class _Weighed:
    """The log-weights of all cells, of what comes and goes, and of 'outside', on one scale, where the good parts spread
    as in `fit`; `bad` are its readings' probabilities of being bad ones, and `good` how much of the time each contact
    that comes and goes is good."""

    log: Array
    bad: Array
    good: Array
    fit: Fit


def _weighed(
    network: Network, fit: Fit, base: Array, share: float, tried: Sequence[Told], comes_share: float
) -> _Weighed:
    log_like, bad = fit.likelihood()
    comes, good = comes_and_goes(network, fit, base, comes_share, good_shares(tried))
    for one in tried:
        if isinstance(one, Observed):
            comes = comes + comes_and_goes_log(network, one)
    outside = log_outside(network.cells, fit, base)
    return _Weighed(math.log(share) + np.concatenate([base + log_like, comes, [outside]]), bad, good, fit)
