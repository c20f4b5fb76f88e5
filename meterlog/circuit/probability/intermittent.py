"""Weighs, for each part, that its contact comes and goes: good at one reading, open at another."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from meterlog.circuit.faults.cells import first_healthy, interrupted, single_resistive
from meterlog.circuit.probability.bad_readings import BAD_READING, BAD_WEIGHT
from meterlog.circuit.probability.fit import Fit
from meterlog.circuit.probability.predict import Network
from meterlog.circuit.probability.when_hot import GOOD_SHARES, Shares

COMMAND_SHARE = 0.4
"""Says how often a command comes and goes beside how often it fails, relative to a contact: most intermittents are
connections or wiring (makers' manuals); the figure is a guess."""
NOTICED_SHARE = 0.2
"""A contact that comes and goes is noticed as such when the load fails: from this share of the load's resistance on. A
guess."""

Array = NDArray[np.float64]


def comes_and_goes(
    network: Network, fit: Fit, base: Array, share: float, good_shares: Shares = GOOD_SHARES
) -> tuple[Array, Array]:
    """Log-weight of 'this part's contact comes and goes' and, behind these, of 'this part's command does', shape (2n,);
    and how much of the time each is then expected to be good, shape (2n,), as the readings have it.

    Each reading was taken while the contact was good, open or resistive, unless it is a bad one; the share of the
    time that it is good is one of `good_shares`, which are weighted. The readings are taken in one after the other:
    what one says about the unknowns (the network's, see `predict`) sharpens what the next one should show; a reading
    that shows the same either way costs nothing. `base`, shape (K,), is the cells' log-weight without the readings.
    """
    n, cells = len(network.circuit.parts), network.cells
    logs, good = np.full(2 * n, -np.inf), np.ones(2 * n)
    shares = np.array(good_shares)
    contacts = [k for k, part in enumerate(network.circuit.parts) if k and part.kind not in ("fuse", "resistor")]
    for k in [*contacts, *(n + k for k in network.circuit.commands.values())] if share > 0 else []:
        if (by_share := _of_part(network, fit, base, k, shares)) is not None:
            logs[k] = np.logaddexp.reduce(by_share)
            good[k] = np.exp(by_share - logs[k]) @ shares[:, 0]
    rates = np.array([cells.prior[cells.part[:, 0] == k].sum() for k in range(n)])
    rates = np.append(rates, [COMMAND_SHARE * cells.prior[cells.command_at == k].sum() for k in range(n)])
    could = np.isfinite(logs)
    logs[could] += np.log(np.maximum(share * rates[could] / max(rates[could].sum(), 1e-300), 1e-300))
    return logs, good


def _of_part(network: Network, fit: Fit, base: Array, k: int, good_shares: Array) -> Array | None:
    """Log-likelihood of the readings and of what was tried if part k, or from n on the command of k - n, comes and
    goes, with the weight of each of the Q shares of the time that it is good, shape (Q,); None where it cannot."""
    cells = network.cells
    open_ = interrupted(cells, k)
    if open_ < 0:
        return None
    least_ohm = NOTICED_SHARE * network.circuit.system_v / network.circuit.load_a
    lossy = single_resistive(cells, k) & (cells.ohm[:, min(k, cells.ohm.shape[1] - 1)] >= least_ohm)
    fault = np.append(np.flatnonzero(lossy), open_)
    states = np.append(first_healthy(cells), fault)  # (S,)
    odds = cells.prior[fault] / max(cells.prior[fault].sum(), 1e-300)
    good, weight = good_shares[:, :1], good_shares[:, 1]
    log_share = np.log(np.maximum(np.concatenate([good, (1 - good) * odds], axis=1), 1e-300))  # (Q, S)
    without = np.exp(base[states] - np.log(np.maximum(cells.prior[states], 1e-300)))
    total = np.log(0.5 * without[0] + 0.5 * without[1:] @ odds) + np.zeros(len(good))
    slopes = fit.slopes(states)
    mean = np.zeros((len(good), slopes.shape[2]))
    covariance = np.tile(np.eye(mean.shape[1]), (len(good), 1, 1))
    bad_count = np.zeros(len(good))
    for i in range(len(fit.y)):
        slope, every = slopes[:, i], np.arange(len(good))
        seen = slope @ covariance  # (Q, S, P)
        variance = np.einsum("qsp,sp->qs", seen, slope) + fit.variance[states, i]
        residual = fit.residual[states, i] - mean @ slope.T
        chance = (BAD_READING * BAD_WEIGHT + bad_count) / (BAD_WEIGHT + i)
        fits = log_share - 0.5 * (residual**2 / variance + np.log(2 * math.pi * variance)) + np.log(1 - chance)[:, None]
        every_way = np.concatenate([fits, (fit.log_bad[i] + np.log(chance))[:, None]], axis=1)
        total = total + np.logaddexp.reduce(every_way, axis=1)
        best = np.argmax(every_way, axis=1)
        is_bad = best == len(states)  # such a reading teaches nothing about the unknowns
        bad_count = bad_count + is_bad
        best = np.where(is_bad, 0, best)
        gain = seen[every, best] / variance[every, best][:, None] * ~is_bad[:, None]
        mean = mean + gain * residual[every, best][:, None]
        covariance = covariance - gain[:, :, None] * seen[every, best][:, None, :]
    return np.asarray(total + np.log(weight / weight.sum()))
