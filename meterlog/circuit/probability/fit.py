"""Fits the readings to each cell, allowing for probes that did not touch.

Within a cell the readings are jointly Gaussian (see `predict`). Each reading may also be a bad one (the probe made no
contact, a wrong pin, a slip): then it tells nothing about the circuit. The likelihood is the sum over which readings
are bad, each cell choosing for itself and paying for each; leave-one-out densities come from the inverse covariance at
no extra cost.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from copy import copy
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from meterlog.circuit.faults.cells import FAULTS, first_healthy
from meterlog.circuit.probability.bad_readings import BAD_READING, SECOND_LOOK, bad_density, log_bad_count
from meterlog.circuit.probability.noise import noise, normal, shown_y
from meterlog.circuit.probability.predict import Network, in_chunks
from meterlog.circuit.probability.unknowns import UNKNOWNS
from meterlog.circuit.readings.halves import other
from meterlog.circuit.readings.measurement import Measurement

READS_GOOD = 0.15
"""Share of parts that cannot carry their load's current and yet read good on ohms. A guess."""
READS_GOOD_SPREAD, HIDES_FROM = 0.2, 0.05
"""On the scale of log ohms: how closely such a part reads as a good one, and the least difference that it hides.
Guesses."""
OTHER_HALF = 0.2
"""Share of readings at an unplugged connector that are of the other half than is usual, where nobody said. A guess."""
MOST_BAD = 6
"""So many bad readings at the most are told from a circuit that is not the one in the file."""
BEYOND = 3.0
"""Standard deviations, those of the reading and of the narrowest cell, up to which a cell may show a reading that none
has for its middle."""
NEGLIGIBLE = -12.0
"""Log of a share that is not worth summing."""
NO_WORTH = 1e8
"""Variance of a reading that counts for nothing."""
FIT_CHUNK = 1000
"""So many cells' matrices are inverted at once: they stay in a processor's cache. A choice."""

Array = NDArray[np.float64]
Rows = NDArray[np.int64] | slice
"""Says which of the cells."""


@dataclass(frozen=True)
class Given:
    """Holds what each cell makes of each reading, given the others that are not likely bad in it.

    Attributes:
        expected: shape (K, M), what it expects (y, see `predict`).
        residual: shape (K, M), the reading less that.
        spread: shape (K, M), its standard deviation with the reading's own error.
    """

    expected: Array
    residual: Array
    spread: Array


class Fit:
    """The joint Gaussian of the used readings in every cell.

    Attributes:
        residual: shape (K, M), what each cell takes a reading for (y, see `predict`) less its mean: the value, or of a
            lamp the share of its rated voltage nearest to what the cell predicts that looks like it.
        spreads: shape (P,), the factor on how far each unknown spreads.
        log_bad: shape (M,), the log-density of each reading if it is a bad one.
        variance: shape (K, M), what moves each reading alone: the meter's error, and pickup where it floats.
        whole_variance: shape (K, M), that and what the unknowns move.
        before: positions of the earlier readings of each reading's own place.
    """

    def __init__(self, network: Network, measured: Sequence[Measurement], used: Sequence[int]) -> None:
        ms = [measured[k] for k in used]
        k = len(network.cells)
        self.y = np.array([shown_y(m) for m in ms])
        self.noise = np.array([float(noise(m, network.circuit, np.array(y))) for m, y in zip(ms, self.y, strict=True)])
        places = [m.place_key for m in ms]
        self.before = [[j for j in range(i) if places[j] == place] for i, place in enumerate(places)]
        self._predictions = network.predict_all(ms)
        self.mean = np.stack([p.mean for p in self._predictions], 1) if ms else np.zeros((k, 0))
        seen = np.tile(self.y, (k, 1))
        for i, m in enumerate(ms):
            if m.quantity == "lamp":
                seen[:, i] = np.clip(self.mean[:, i], *m.bulb.surely(m.value))
        self._own = np.stack([np.broadcast_to(p.own, k) for p in self._predictions], 1) if ms else self.mean
        self.variance = self.noise**2 + self._own**2
        self.residual = seen - self.mean
        self._spread(np.ones(len(UNKNOWNS) + len(network.circuit.parts)))
        usual = network.cells.prior @ self.alone()
        self.log_bad = np.log(
            [bad_density(m, network.circuit, usual[i], beyond=self._beyond_bells(i)) for i, m in enumerate(ms)]
        )
        self.log_reads_good = self._reads_good(network, ms)

    def spread(self, factors: Array) -> Fit:
        """The same readings where each unknown spreads less or further by a factor, shape (P,)."""
        other = copy(self)
        other._spread(factors)
        return other

    def slopes(self, rows: Rows, which: Sequence[int] | None = None) -> Array:
        """The change of each reading, or of some (`which`), per standard deviation of each unknown in some cells, shape
        (k, M, P)."""
        found = [self._predictions[i].slope[rows] for i in (range(len(self.y)) if which is None else which)]
        return np.stack(found, 1) * self.spreads if found else np.zeros((len(self.mean[rows]), 0, len(self.spreads)))

    def slopes_of(self, rows: NDArray[np.int64], which: NDArray[np.int64]) -> Array:
        """The change of each reading per standard deviation of one unknown in each of some cells, shape (k, M)."""
        slopes = np.array([p.slope[rows, which] for p in self._predictions]).reshape(len(self._predictions), len(rows))
        return np.asarray(slopes.T * self.spreads[which][:, None])

    def alone(self) -> Array:
        """The density that each cell gives each reading without the others, shape (K, M)."""
        variance = self.whole_variance
        return np.asarray(np.exp(-0.5 * self.residual**2 / variance) / np.sqrt(2 * math.pi * variance))

    def covariance(self, rows: Rows, which: Sequence[int] | None = None) -> Array:
        """The covariance of the readings, or of some (`which`), in some cells, shape (k, M, M)."""
        some = range(len(self.y)) if which is None else which
        slope = self.slopes(rows, some)
        found = slope @ slope.transpose(0, 2, 1)
        for a, i in enumerate(some):
            found[:, a, a] += self.variance[rows, i]
            for b, j in enumerate(some):
                if j in self.before[i]:  # what a floating place picks up, it picks up again
                    found[:, a, b] += self._own[rows, i] * self._own[rows, j]
                    found[:, b, a] = found[:, a, b]
        return np.asarray(found)

    def _spread(self, factors: Array) -> None:
        self.spreads, self.whole_variance = factors, self.variance.copy()
        for i, prediction in enumerate(self._predictions):
            self.whole_variance[:, i] += ((prediction.slope * factors) ** 2).sum(axis=1)

    def _reads_good(self, network: Network, ms: Sequence[Measurement]) -> Array:
        """By how much more a reading may mislead (log), shape (K, M): ohms through a part that loses voltage under load
        may read good, since one surviving strand or a film that the current burns passes a meter's current (makers'
        manuals); how often is a guess."""
        more = np.zeros((len(network.cells), len(ms)))
        for i, m in enumerate(ms):
            more[:, i] = self._of_other_half(network, m, i)
        good = first_healthy(network.cells)
        faulty = network.cells.fault == FAULTS.index("high_resistance")
        for i, m in enumerate(ms):
            if m.quantity == "resistance":
                hides = faulty & (network.predict(m).mean > network.predict(m).mean[good] + HIDES_FROM)
                spread = math.hypot(self.noise[i], READS_GOOD_SPREAD)
                shown = READS_GOOD * normal(self.y[i] - network.predict(m).mean[good], spread)
                again = math.log1p(shown / (BAD_READING * math.exp(self.log_bad[i])))
                more[hides, i] = np.logaddexp(more[hides, i], again)
        return more

    def _of_other_half(self, network: Network, m: Measurement, i: int) -> Array:
        """By how much more (log) a reading misleads if nobody said which half of the connector it was, shape (K,)."""
        elsewhere = other(network.circuit, m)
        if elsewhere is None:
            return np.zeros(len(network.cells))
        mean = np.nan_to_num(network.predict(elsewhere).mean)  # what hangs on nothing shows 0
        z = (self.y[i] - mean) / self.noise[i]
        shown = OTHER_HALF * np.exp(-0.5 * np.minimum(z**2, 1400)) / (self.noise[i] * math.sqrt(2 * math.pi))
        return np.asarray(np.log1p(shown / (BAD_READING * math.exp(self.log_bad[i]))))

    def beyond(self, slot: int) -> bool:
        """Tell whether a reading is beyond what any cell can show: a cell that covers many resistances is taken for a
        bell, whose tails lie beyond what a network can give."""
        reach = BEYOND * self.noise[slot] + np.sqrt(self.whole_variance[:, slot]).min() * BEYOND
        return bool(not self.mean[:, slot].min() - reach <= self.y[slot] <= self.mean[:, slot].max() + reach)

    def _beyond_bells(self, slot: int) -> bool:
        """Tell whether a reading is beyond the tails of every cell's bell."""
        reach = BEYOND * np.sqrt(self.whole_variance[:, slot])
        low, high = self.mean[:, slot] - reach, self.mean[:, slot] + reach
        return bool(not low.min() <= self.y[slot] <= high.max())

    def likelihood(self) -> tuple[Array, Array]:
        """Log-likelihood of each cell, shape (K,), and each reading's probability of being bad in it, shape (K, M).

        The sum over 'none is bad', 'one is', and, the likeliest bad one left out, 'a second one is', and so on. Leaving
        one out changes the precision matrix by rank one: of what is left only the diagonal and one row are needed.
        """
        precision, log_det = self._precision()
        count, residual = len(self.y), np.ascontiguousarray(self.residual.T)
        pull = np.einsum("ijk,jk->ik", precision, residual)
        diagonal = np.einsum("iik->ik", precision).copy()
        squared = (residual * pull).sum(axis=0)
        rarer = np.log([SECOND_LOOK if before else 1.0 for before in self.before])
        cost = (self.log_bad + rarer)[:, None] + self.log_reads_good.T
        log_left = -0.5 * (squared + log_det + count * math.log(2 * math.pi)) + log_bad_count(0, count)
        total, bad = log_left, np.zeros(residual.shape)
        left, taken, every = np.ones(residual.shape, bool), list[Array](), np.arange(len(total))
        for bads in range(1, min(count, MOST_BAD) + 1):
            floored = np.where(left, np.maximum(diagonal, 1e-12), 1.0)
            alone = 0.5 * (np.log(floored / (2 * math.pi)) - pull**2 / floored)
            rarity = log_bad_count(bads, count) - log_bad_count(bads - 1, count)
            one_more = np.where(left, log_left - alone + cost + rarity, -np.inf)
            if one_more.max() < total.max() + NEGLIGIBLE:
                break
            worst = np.argmax(one_more, axis=0)
            log_left = one_more[worst, every]
            top = np.maximum(total, log_left)
            share, before = np.exp(one_more - top), np.exp(total - top)
            these = share.sum(axis=0)
            bad = (bad * before + share + ~left * these) / (before + these)
            total = top + np.log(before + these)
            left[worst, every] = False
            row = precision[worst, :, every].T - sum(one[worst, every] * one for one in taken)
            row /= np.sqrt(floored[worst, every])
            pull -= row * (pull[worst, every] / np.sqrt(floored[worst, every]))
            diagonal -= row**2
            taken.append(row)
        return total, bad.T

    def _precision(self, which: Sequence[int] | None = None) -> tuple[Array, Array]:
        """The inverse of each cell's covariance, shape (M, M, K), and the log of its determinant, shape (K,)."""
        count = len(self.y if which is None else which)
        precision, log_det = np.zeros((count, count, len(self.mean))), np.zeros(len(self.mean))
        for rows in in_chunks(len(self.mean), FIT_CHUNK):
            precision[:, :, rows], log_det[rows] = _inverse(self.covariance(rows, which))
        return precision, log_det

    def given_others(self, bad: Array) -> Given:
        """Expect every reading from the others that are not likely bad (`bad`, shape (K, M)) in each cell."""
        residual, spread = np.zeros(self.residual.shape), np.zeros(self.residual.shape)
        for rows in in_chunks(len(self.mean), FIT_CHUNK):
            apart = np.where(bad[rows] > 0.5, NO_WORTH, 0.0)
            precision, _ = _inverse(self.covariance(rows) + apart[:, :, None] * np.eye(len(self.y)))
            variance = 1 / np.maximum(np.einsum("iik->ki", precision), 1e-300)
            residual[rows] = np.einsum("ijk,kj->ki", precision, self.residual[rows]) * variance
            spread[rows] = np.sqrt(np.maximum(variance - apart, 1e-9))
        return Given(self.mean + self.residual - residual, residual, spread)

    def squared(self, which: Sequence[int]) -> Array:
        """Return how far some readings together are from what each cell makes of them, chi-squared, shape (K,)."""
        precision, _ = self._precision(which)
        residual = self.residual[:, which]
        return np.asarray(np.einsum("ki,ijk,kj->k", residual, precision, residual))


def _inverse(covariance: Array) -> tuple[Array, Array]:
    """The inverses of many small covariances of shape (k, M, M), shape (M, M, k), and the logs of their determinants,
    shape (k,).

    Each pivot is swept out of all of them at once (Gauss and Jordan; a covariance needs no other order of pivots): with
    the cells along the last axis that takes a third of the time of `numpy.linalg` for five readings and half for ten;
    for 20 it is no quicker (measured once by hand).
    """
    a = np.ascontiguousarray(covariance.transpose(1, 2, 0))
    log_det = np.zeros(len(covariance))
    for i in range(len(a)):
        pivot = a[i, i].copy()
        log_det += np.log(pivot)
        row, column = a[i] / pivot, a[:, i].copy()
        column[i] = 0.0
        a -= column[:, None] * row
        a[i], a[:, i], a[i, i] = row, -column / pivot, 1 / pivot
    return a, log_det
