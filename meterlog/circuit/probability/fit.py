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

import numpy as np
from numpy.typing import NDArray

from meterlog.circuit.faults.fault_cells import FAULTS, first_healthy
from meterlog.circuit.model.bulb import EDGE_BLUR
from meterlog.circuit.model.circuit import Circuit
from meterlog.circuit.probability.predict import Network, in_chunks
from meterlog.circuit.probability.predict_ohms import OHM_OFFSET, OVERLOAD_OHM
from meterlog.circuit.probability.unknowns import UNKNOWNS
from meterlog.circuit.readings.halves import other
from meterlog.circuit.readings.measurement import Measurement

BAD_READING, BAD_WEIGHT = 0.03, 25.0
"""Share of readings that are bad though the person believes them, and how well that is known before the first: as well
as from 25 readings. A Beta prior: who slipped once (another hand, place or meter) is taken to slip more often, so that
readings which contradict each other make all of them count for less. Guesses; makers warn of it, none counts it."""
READS_GOOD = 0.15
"""Share of parts that cannot carry their load's current and yet read good on ohms. A guess."""
READS_GOOD_SPREAD, HIDES_FROM = 0.2, 0.05
"""On the scale of log ohms: how closely such a part reads as a good one, and the least difference that it hides.
Guesses."""
OTHER_HALF = 0.2
"""Share of readings at an unplugged connector that are of the other half than is usual, where nobody said. A guess."""
SECOND_LOOK = 0.2
"""Factor on how often a reading is bad where its place was read before: the second time it is looked at twice. A
guess."""
MOST_BAD = 6
"""So many bad readings at the most are told from a circuit that is not the one in the file."""
BEYOND = 3.0
"""Standard deviations, those of the reading and of the narrowest cell, up to which a cell may show a reading that none
has for its middle."""
NEGLIGIBLE = -12.0
"""Log of a share that is not worth summing."""
NO_WORTH = 1e8
"""Variance of a reading that counts for nothing."""

VOLT_ERROR_V, VOLT_SHARE, CURRENT_ERROR_A, CURRENT_SHARE = 0.03, 0.012, 0.1, 0.03
OHM_ERROR_OHM, OHM_SHARE = 0.15, 0.04
"""Standard deviation of a reading without a stated error, least and as a share of it: a meter's 0.5 % and 2 counts,
contact, drift between two readings, a person's rounding. Guesses."""
STATED_FLOOR, STATED_OHM_FLOOR_OHM = 0.02, 0.03
"""Contact and rounding add this to a stated error: V or A, and ohm. Guesses."""
COIL_V = 0.4
"""Standard deviation of a reading across a coil: its wires are not in the circuit file. A guess, V."""
OVERLOAD_FROM, OVERLOAD_SPREAD = 0.9, 2.5
"""From this share of the overload's ohms on a reading is 'open', and that is anything from some kohm (a beeper's range)
up: standard deviation of log ohms. Guesses."""

NO_CONTACT, OTHER_BAD = 0.7, 0.3
"""Share of bad readings that show nothing at all (0 or, on ohms, open), and of others. Guesses."""
ON_WRONG_PIN, WRONG_PIN, WRONG_PIN_SPREAD = 2 / 3, 1.04, 0.06
"""Share of the others that, on volts, show the source's voltage; its middle and standard deviation in system voltages.
Guesses."""
BAD_LAMP = {"dark": 0.75, "glowing": 0.05, "dim": 0.05, "bright": 0.15}
"""What a lamp shows that tells nothing about the circuit: its clip or tip has no contact, or it is on another
wire. Guesses."""
ANY_V, ANY_A, ANY_LOG_OHM = 1.4, 4.0, 20.0
"""The rest is anything in so many system voltages, load currents, or units of log ohms. Guesses."""

Array = NDArray[np.float64]


def shown_y(m: Measurement) -> float:
    """The measured value on the scale of `predict`."""
    if m.quantity != "resistance":
        return m.value
    return math.log(min(m.value, OVERLOAD_OHM) + OHM_OFFSET)


def noise(m: Measurement, circuit: Circuit, y: Array) -> Array:
    """A reading's standard deviation on the scale of `predict`, were it y; a stated error is taken as two of them."""
    if m.quantity == "lamp":
        return np.full(y.shape, EDGE_BLUR)
    if m.quantity == "resistance":
        ohm = np.exp(y) - OHM_OFFSET
        own = OHM_ERROR_OHM + OHM_SHARE * ohm if m.error is None else math.hypot(m.error / 2, STATED_OHM_FLOOR_OHM)
        return np.where(ohm > OVERLOAD_FROM * OVERLOAD_OHM, OVERLOAD_SPREAD, own / (ohm + OHM_OFFSET))
    if m.error is not None:
        return np.full(y.shape, math.hypot(m.error / 2, STATED_FLOOR))
    if m.at in circuit.commands:
        return np.full(y.shape, COIL_V)
    least, share = (CURRENT_ERROR_A, CURRENT_SHARE) if m.quantity == "current" else (VOLT_ERROR_V, VOLT_SHARE)
    return np.hypot(least, share * y)


def bad_density(m: Measurement, circuit: Circuit) -> float:
    """The density of a bad reading's value: no contact, a wrong pin (on volts), or anything."""
    y = shown_y(m)
    if m.quantity == "lamp":
        return BAD_LAMP[m.shown] / (EDGE_BLUR * math.sqrt(2 * math.pi))
    if m.quantity == "resistance":
        return NO_CONTACT * _normal(y - math.log(OVERLOAD_OHM), OVERLOAD_SPREAD) + OTHER_BAD / ANY_LOG_OHM
    nothing = NO_CONTACT * _normal(y, float(noise(m, circuit, np.zeros(1))[0]))
    if m.quantity == "current":
        return nothing + OTHER_BAD / (ANY_A * circuit.load_a)
    wrong_pin = _normal(y - WRONG_PIN * circuit.system_v, WRONG_PIN_SPREAD * circuit.system_v)
    return nothing + OTHER_BAD * (ON_WRONG_PIN * wrong_pin + (1 - ON_WRONG_PIN) / (ANY_V * circuit.system_v))


def log_bad_count(bad: int, count: int) -> float:
    """Log-probability that some named ones of `count` readings are bad, and the others are not (Beta-binomial)."""
    a, b = BAD_READING * BAD_WEIGHT, (1 - BAD_READING) * BAD_WEIGHT
    return _log_beta(a + bad, b + count - bad) - _log_beta(a, b)


def _log_beta(a: float, b: float) -> float:
    return math.lgamma(a) + math.lgamma(b) - math.lgamma(a + b)


class Fit:
    """The joint Gaussian of the used readings in every cell.

    Attributes:
        seen: shape (K, M), what each cell takes a reading for (y, see `predict`): the value, or of a lamp the share of
            its rated voltage nearest to what the cell predicts that looks like it.
        expected: shape (K, M), what each cell expects of a reading given the others (y, see `predict`).
        alone_residual: shape (K, M), the reading less that.
        alone_spread: shape (K, M), its standard deviation with the reading's own error.
        spreads: shape (P,), the factor on how far each unknown spreads.
    """

    def __init__(self, network: Network, measured: Sequence[Measurement], used: Sequence[int]) -> None:
        ms = [measured[k] for k in used]
        k = len(network.cells)
        self.y = np.array([shown_y(m) for m in ms])
        self.noise = np.array([float(noise(m, network.circuit, np.array(y))) for m, y in zip(ms, self.y, strict=True)])
        self.log_bad = np.log([bad_density(m, network.circuit) for m in ms]) if ms else np.zeros(0)
        self.log_reads_good = self._reads_good(network, ms)
        places = [(m.quantity, m.at, m.to, m.state, m.load, m.side) for m in ms]
        self.again = [place in places[:i] for i, place in enumerate(places)]
        self._predictions = network.predict_all(ms)
        self.mean = np.stack([p.mean for p in self._predictions], 1) if ms else np.zeros((k, 0))
        self.seen = np.tile(self.y, (k, 1))
        for i, m in enumerate(ms):
            if m.quantity == "lamp":
                self.seen[:, i] = np.clip(self.mean[:, i], *m.bulb.surely(m.value))
        self.residual = self.seen - self.mean
        self._spread(np.ones(len(UNKNOWNS) + len(network.circuit.parts)))

    def spread(self, factors: Array) -> Fit:
        """The same readings where each unknown spreads less or further by a factor, shape (P,)."""
        other = copy(self)
        other._spread(factors)
        return other

    def slopes(self, rows: NDArray[np.int64]) -> Array:
        """The change of each reading per standard deviation of each unknown in some cells, shape (k, M, P)."""
        if not self._predictions:
            return np.zeros((len(rows), 0, len(self.spreads)))
        return np.stack([p.slope[rows] for p in self._predictions], 1) * self.spreads

    def _spread(self, factors: Array) -> None:
        self.spreads, count = factors, len(self.y)
        self.covariance = np.zeros((len(self.mean), count, count))
        for rows in in_chunks(len(self.mean)):
            slope = self.slopes(rows)
            self.covariance[rows] = slope @ slope.transpose(0, 2, 1)
        self.covariance[:, range(count), range(count)] += self.noise**2
        self.precision = np.linalg.inv(self.covariance) if count else np.zeros(self.covariance.shape)
        pull = np.einsum("kij,kj->ki", self.precision, self.residual)
        diagonal = np.maximum(np.einsum("kii->ki", self.precision), 1e-300)
        self._expect(pull / diagonal, 1 / np.sqrt(diagonal))
        self.log_all = _log_normal(np.einsum("ki,ki->k", self.residual, pull), self.covariance)

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
                shown = READS_GOOD * _normal(self.y[i] - network.predict(m).mean[good], spread)
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
        reach = BEYOND * self.noise[slot] + np.sqrt(self.covariance[:, slot, slot]).min() * BEYOND
        return bool(not self.mean[:, slot].min() - reach <= self.y[slot] <= self.mean[:, slot].max() + reach)

    def likelihood(self) -> tuple[Array, Array]:
        """Log-likelihood of each cell, shape (K,), and each reading's probability of being bad in it, shape (K, M).

        The sum over 'none is bad', 'one is', and, the likeliest bad one left out, 'a second one is', and so on. Leaving
        one out changes the precision matrix by rank one.
        """
        rarer = np.log([SECOND_LOOK if again else 1.0 for again in self.again])
        precision, left = self.precision.copy(), np.ones(self.residual.shape, bool)
        log_left = self.log_all + log_bad_count(0, len(self.y))  # of this set of bad readings
        total, bad = log_left, np.zeros(self.residual.shape)
        every = np.arange(len(total))
        for count in range(min(len(self.y), MOST_BAD)):
            cost = (
                self.log_bad
                + rarer
                + self.log_reads_good
                + log_bad_count(count + 1, len(self.y))
                - log_bad_count(count, len(self.y))
            )
            diagonal = np.where(left, np.maximum(np.einsum("kii->ki", precision), 1e-12), 1.0)
            pull = np.einsum("kij,kj->ki", precision, self.residual)
            alone = 0.5 * (np.log(diagonal / (2 * math.pi)) - pull**2 / diagonal)
            one_more = np.where(left, log_left[:, None] - alone + cost, -np.inf)
            if one_more.max() < total.max() + NEGLIGIBLE:
                break
            top = np.maximum(total, one_more.max(axis=1))
            share = np.exp(one_more - top[:, None])
            before = np.exp(total - top)
            sum_ = before + share.sum(axis=1)
            bad = (bad * before[:, None] + share + ~left * share.sum(axis=1, keepdims=True)) / sum_[:, None]
            total = top + np.log(sum_)
            worst = np.argmax(one_more, axis=1)
            log_left = one_more[every, worst]
            left[every, worst] = False
            # taking a reading out of a Gaussian is a rank-one change of its precision: no new inverse for each
            row = precision[every, worst]
            precision -= row[:, :, None] * row[:, None, :] / diagonal[every, worst][:, None, None]
        return total, bad

    def leave_out(self, bad: Array) -> None:
        """Expect every reading from the others that are not likely bad (`bad`, shape (K, M)) in each cell."""
        rows, count = np.flatnonzero((bad > 0.5).any(axis=1)), range(len(self.y))
        if not len(rows):
            return
        apart = np.where(bad[rows] > 0.5, NO_WORTH, 0.0)
        covariance = self.covariance[rows]
        covariance[:, count, count] += apart
        precision = np.linalg.inv(covariance)
        variance = 1 / np.maximum(np.einsum("kii->ki", precision), 1e-300)
        residual, spread = self.alone_residual.copy(), self.alone_spread.copy()
        residual[rows] = np.einsum("kij,kj->ki", precision, self.residual[rows]) * variance
        spread[rows] = np.sqrt(np.maximum(variance - apart, 1e-9))
        self._expect(residual, spread)

    def _expect(self, residual: Array, spread: Array) -> None:
        self.alone_residual, self.alone_spread = residual, spread
        self.expected = self.seen - residual


def _normal(x: float, spread: float) -> float:
    return math.exp(-0.5 * (x / spread) ** 2) / (spread * math.sqrt(2 * math.pi))


def _log_normal(squared: Array, covariance: Array) -> Array:
    count = covariance.shape[-1]
    if not count:
        return np.zeros(len(covariance))
    _, log_det = np.linalg.slogdet(covariance)
    return np.asarray(-0.5 * (squared + log_det + count * math.log(2 * math.pi)))
