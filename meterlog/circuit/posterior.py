"""How likely each cell is after the readings: Bayes' rule, with probes that may not have touched.

Within a cell the readings are jointly Gaussian (see `predict`). Each reading may also be a bad one (the probe made no
contact, a wrong pin, a slip): then it tells nothing about the circuit. The likelihood is the sum over 'all good' and
'this one bad' for each reading; the leave-one-out densities come from the inverse covariance at no extra cost. When
even that fits nowhere, the worst reading is set aside by name and the rest judged again.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from meterlog.circuit.faults import FAULTS, first_healthy, single_open
from meterlog.circuit.measured import Measurement, Tried
from meterlog.circuit.model import Circuit
from meterlog.circuit.predict import OHM_OFFSET, OVERLOAD_OHM, UNKNOWNS, Network

BAD_READING = 0.025
"""How often a reading is a bad one though the person believes it. Guess; makers warn of it, none counts it."""
MISFIT = 16.0
"""A best fit whose squared deviation exceeds this (4 standard deviations) fits nowhere."""

Array = NDArray[np.float64]


def shown_y(m: Measurement) -> float:
    """The measured value on the scale of `predict`."""
    if m.quantity != "resistance":
        return m.value
    return math.log(min(m.value, OVERLOAD_OHM) + OHM_OFFSET)


def noise(m: Measurement, circuit: Circuit, y: Array) -> Array:
    """A reading's standard deviation on the scale of `predict`, were it y: the stated error taken as two of them, or a
    meter's 0.5 % and 2 counts with contact, drift between two readings and a person's rounding. Guesses."""
    if m.quantity == "resistance":
        ohm = np.exp(y) - OHM_OFFSET
        own = 0.15 + 0.04 * ohm if m.error is None else math.hypot(m.error / 2, 0.03)
        # 'open' is anything from some kohm (a beeper's range) up
        return np.where(ohm > 0.9 * OVERLOAD_OHM, 2.5, own / (ohm + OHM_OFFSET))
    if m.error is not None:
        return np.full(y.shape, math.hypot(m.error / 2, 0.02))
    if m.at in circuit.commands:
        return np.full(y.shape, 0.4)
    least, share = (0.1, 0.03) if m.quantity == "current" else (0.03, 0.012)
    return np.hypot(least, share * y)


def bad_density(m: Measurement, circuit: Circuit) -> float:
    """The density of a bad reading's value: 7 in 10 nothing at all (0, or open: no contact), the others anything."""
    y = shown_y(m)
    if m.quantity == "resistance":
        return 0.7 * _normal(y - math.log(OVERLOAD_OHM), 2.5) + 0.3 / 20
    width = 0.08 if m.quantity != "current" else 0.15
    span = 1.4 * circuit.system_v if m.quantity != "current" else 4 * circuit.load_a
    return 0.7 * _normal(y, width) + 0.3 / span


class Fit:
    """The joint Gaussian of the used readings in every cell.

    Attributes:
        expected: shape (K, M), what each cell expects of a reading given the others (y, see `predict`).
        alone_spread: shape (K, M), its standard deviation with the reading's own error.
    """

    def __init__(self, network: Network, measured: Sequence[Measurement], used: Sequence[int]) -> None:
        ms = [measured[k] for k in used]
        count, k = len(ms), len(network.cells)
        self.y = np.array([shown_y(m) for m in ms])
        self.noise = np.array([float(noise(m, network.circuit, np.array(y))) for m, y in zip(ms, self.y, strict=True)])
        self.log_bad = np.log([bad_density(m, network.circuit) for m in ms]) if ms else np.zeros(0)
        places = [(m.quantity, m.at, m.to, m.state, m.load) for m in ms]
        self.again = [places.count(place) > 1 for place in places]
        predictions = [network.predict(m) for m in ms]
        self.mean = np.stack([p.mean for p in predictions], 1) if ms else np.zeros((k, 0))
        width = len(UNKNOWNS) + len(network.circuit.parts)
        self.slope = np.stack([p.slope for p in predictions], 1) if ms else np.zeros((k, 0, width))
        self.covariance = self.slope @ self.slope.transpose(0, 2, 1)
        self.covariance[:, range(count), range(count)] += self.noise**2
        self.residual = self.y - self.mean
        self.precision = np.linalg.inv(self.covariance) if count else np.zeros((k, 0, 0))
        pull = np.einsum("kij,kj->ki", self.precision, self.residual)
        diagonal = np.maximum(np.einsum("kii->ki", self.precision), 1e-300)
        self.alone_residual = pull / diagonal  # a reading less what the others make of it
        self.alone_spread = 1 / np.sqrt(diagonal)
        self.expected = self.y - self.alone_residual
        self.squared = np.einsum("ki,ki->k", self.residual, pull)
        self.log_all = _log_normal(self.squared, self.covariance)

    def likelihood(self) -> tuple[Array, Array]:
        """Log-likelihood of each cell, shape (K,), and each reading's probability of being bad in it, shape (K, M).

        A place read twice was looked at twice: a bad reading there is five times rarer (a guess).
        """
        odd = np.array([BAD_READING * (0.2 if again else 1.0) for again in self.again])
        log_odd = np.log(odd)
        log_good = np.log(1 - odd)
        alone = -0.5 * (self.alone_residual / self.alone_spread) ** 2 - np.log(
            self.alone_spread * math.sqrt(2 * math.pi)
        )
        one_bad = self.log_all[:, None] - alone + self.log_bad + log_odd + log_good.sum() - log_good
        terms = np.concatenate([(self.log_all + log_good.sum())[:, None], one_bad], axis=1)
        top = terms.max(axis=1, keepdims=True)
        total = top[:, 0] + np.log(np.exp(terms - top).sum(axis=1))
        return total, np.exp(one_bad - total[:, None])

    def best_misfit(self, cell: int, bad: Array) -> float:
        """The squared deviation of a cell's readings beyond one per reading, without the one that is likely bad."""
        squared = float(self.squared[cell]) - len(self.y)
        worst = int(np.argmax(bad[cell]))
        if bad[cell, worst] > 0.5:
            squared -= float((self.alone_residual[cell, worst] / self.alone_spread[cell, worst]) ** 2)
        return squared

    def worst(self, cell: int) -> int:
        """The reading that a cell fits least."""
        return int(np.argmax(np.abs(self.alone_residual[cell] / self.alone_spread[cell])))

    def part_of(self, cell: int, keep: NDArray[np.bool_]) -> float:
        """Log-density of some of the readings in one cell."""
        if not keep.any():
            return 0.0
        covariance = self.covariance[cell][np.ix_(keep, keep)]
        residual = self.residual[cell][keep]
        squared = residual @ np.linalg.solve(covariance, residual)
        return float(_log_normal(np.array([squared]), covariance[None])[0])


@dataclass(frozen=True)
class Posterior:
    """What the readings say.

    Attributes:
        weight: shape (K,), the cells' probabilities; with `comes_and_goes` they sum to 1.
        comes_and_goes: shape (n,), the probability that each part's contact comes and goes.
        bad: shape (M,), the probability that each reading is a bad one; 1 where it was set aside.
        used: positions of the readings that say anything, the rows of `fit`.
        fit: the joint Gaussian of those.
        bad_in: shape (K, len(used)), the probability that each is a bad one, by cell.
    """

    weight: Array
    comes_and_goes: Array
    bad: Array
    used: tuple[int, ...]
    fit: Fit
    bad_in: Array

    def unknowns(self, keep: NDArray[np.int64]) -> tuple[Array, Array]:
        """What the readings make of the unknowns in some cells: mean, shape (k, P), and covariance, shape (k, P, P), in
        prior standard deviations. Readings that are likely bad in a cell are left out there."""
        slope, residual = self.fit.slope[keep], self.fit.residual[keep]
        count = residual.shape[1]
        covariance = self.fit.covariance[keep].copy()
        covariance[:, range(count), range(count)] += np.where(self.bad_in[keep] > 0.5, 1e8, 0.0)
        gain = slope.transpose(0, 2, 1) @ np.linalg.inv(covariance)
        mean = np.einsum("kpm,km->kp", gain, residual)
        return mean, np.eye(slope.shape[2]) - gain @ slope


def posterior(
    network: Network,
    measured: Sequence[Measurement],
    tried: Sequence[Tried],
    comes_share: float,
    *,
    dead: bool = False,
) -> Posterior:
    """The cells' probabilities.

    Args:
        network: the circuit and its cells.
        measured: M readings.
        tried: what was fed or replaced.
        comes_share: prior probability that the fault comes and goes.
        dead: the load is known not to work at all in the vehicle.
    """
    cells = network.cells
    base = np.log(np.maximum(cells.prior, 1e-300)) + _tried_log(network, tried)
    if dead:
        base = base + np.log(1 - 0.97 * network.works())
    predictions = [network.predict(m) for m in measured]
    aside: list[int] = []
    while True:
        used = [k for k, p in enumerate(predictions) if not np.isnan(p.mean).any() and k not in aside]
        fit = Fit(network, measured, used)
        log_like, bad = fit.likelihood()
        total = base + log_like
        best = int(np.argmax(total))
        if len(used) <= 2 or fit.best_misfit(best, bad) <= MISFIT or len(aside) >= len(measured) // 3:
            break
        aside.append(used[fit.worst(best)])
    comes = _comes_and_goes(network, fit, tried, comes_share)
    top = max(float(total.max()), float(comes.max()) if len(comes) else -np.inf)
    weight, comes_weight = np.exp(total - top), np.exp(comes - top)
    whole = weight.sum() + comes_weight.sum()
    bad_all = np.zeros(len(measured))
    bad_all[aside] = 1.0
    if used:
        bad_all[used] = (weight[:, None] * bad).sum(axis=0) / weight.sum()
    return Posterior(weight / whole, comes_weight / whole, bad_all, tuple(used), fit, bad)


def _comes_and_goes(network: Network, fit: Fit, tried: Sequence[Tried], share: float) -> Array:
    """Log-weight of 'this part's contact comes and goes': each reading was taken while it was good or while it was
    open, as it fits better, at even odds."""
    cells = network.cells
    n = len(network.circuit.parts)
    logs = np.full(n, -np.inf)
    good = first_healthy(cells)
    log_tried = _tried_log(network, tried)
    opens = [(k, single_open(cells, k)) for k in range(1, n)]
    rates = np.array([cells.prior[c] for _, c in opens])
    for (k, c), rate in zip(opens, rates / max(rates.sum(), 1e-300), strict=True):
        if network.circuit.parts[k].kind in ("fuse", "resistor") or rate <= 0 or share <= 0:
            continue
        z = np.abs(fit.residual[[good, c]]) / np.sqrt(np.einsum("kii->ki", fit.covariance[[good, c]]))
        while_open = z[1] + 0.5 < z[0]
        logs[k] = math.log(share * rate) + len(fit.y) * math.log(0.5) + float(log_tried[good])
        logs[k] += fit.part_of(good, ~while_open) + fit.part_of(c, while_open)
    return logs


def _tried_log(network: Network, tried: Sequence[Tried]) -> Array:
    total = np.zeros(len(network.cells))
    if tried:  # nobody feeds a load or replaces its parts while it works
        total += np.log(1 - 0.85 * network.works())
    for one in tried:
        chance = _replaced(network, one) if one.replaced else network.runs(one)
        total += np.log(chance if one.runs else 1 - chance)
    return total


def _replaced(network: Network, one: Tried) -> Array:
    """How likely each cell lets the load run after a part was replaced: a good part in a bad one's place cures a single
    fault there 92 times in 100 (some new ones are bad: about one pump in ten comes back), and sometimes the handling
    cures a connection next to it."""
    cells, circuit = network.cells, network.circuit
    chance = np.full(len(cells), 0.06)
    command = circuit.commands.get(one.replaced)
    if command is not None:
        chance[cells.fault == FAULTS.index("not_commanded")] = 0.7
        return chance
    k = circuit.part_index.get(one.replaced, circuit.node(one.replaced))
    single = (cells.part[:, 0] == k) & (cells.part[:, 1] < 0)
    cured = 0.08 if circuit.parts[k].kind == "fuse" else 0.0
    chance[single] = 0.92
    chance[single & (cells.short_at >= 0)] = cured or 0.92
    return chance


def _normal(x: float, spread: float) -> float:
    return math.exp(-0.5 * (x / spread) ** 2) / (spread * math.sqrt(2 * math.pi))


def _log_normal(squared: Array, covariance: Array) -> Array:
    count = covariance.shape[-1]
    if not count:
        return np.zeros(len(covariance))
    _, log_det = np.linalg.slogdet(covariance)
    return np.asarray(-0.5 * (squared + log_det + count * math.log(2 * math.pi)))
