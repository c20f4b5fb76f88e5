"""Weighs, for each part, that its contact comes and goes: good at one reading, open at another."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from meterlog.circuit.faults.cells import interrupted, made_otherwise, single_resistive
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
    contacts += [n + k for k in network.circuit.commands.values()]
    able = [k for k in contacts if interrupted(cells, k) >= 0] if share > 0 else []
    if able:
        states = _states_of(network, able)
        by_way = _log_likelihoods(fit, base, states, cells.prior, shares).reshape(-1, len(able), len(shares))
        made = cells.prior[states[:: len(able), 0]]
        by_share = np.logaddexp.reduce(by_way + np.log(made / made.sum())[:, None, None])
        logs[able] = np.logaddexp.reduce(by_share, axis=1)
        good[able] = np.exp(by_share - logs[able][:, None]) @ shares[:, 0]
    rates = np.bincount(cells.part[:, 0] + 1, cells.prior, n + 1)[1:]
    rates = np.append(rates, COMMAND_SHARE * np.bincount(cells.command_at + 1, cells.prior, n + 1)[1:])
    could = np.isfinite(logs)
    logs[could] += np.log(np.maximum(share * rates[could] / max(rates[could].sum(), 1e-300), 1e-300))
    return logs, good


def _states_of(network: Network, places: Sequence[int]) -> NDArray[np.int64]:
    """The cells that each contact (a part, from n on a command) may be in: good, resistive, open; shape (C, S), -1
    behind the last. All contacts of vehicles made as usual come first, then those of others, made in the next way."""
    cells = network.cells
    least_ohm = NOTICED_SHARE * network.circuit.system_v / network.circuit.load_a
    every = []
    for good in made_otherwise(cells):
        rows = np.flatnonzero(single_resistive(cells, good))
        rows = rows[cells.ohm[rows, cells.part[rows, 0]] >= least_ohm]
        every += [[good, *rows[cells.part[rows, 0] == k].tolist(), interrupted(cells, k, good)] for k in places]
    most = max(map(len, every))
    return np.array([[*states, *[-1] * (most - len(states))] for states in every])


def _log_likelihoods(fit: Fit, base: Array, states: NDArray[np.int64], prior: Array, good_shares: Array) -> Array:
    """Log-likelihood of the readings and of what was tried if each of C contacts comes and goes, by the states of each
    (see `_states_of`), with the weight of each of the Q shares of the time that it is good, shape (C, Q)."""
    count, there = len(states), states >= 0
    chances = np.where(there, prior[states], 0.0)
    odds = chances[:, 1:] / np.maximum(chances[:, 1:].sum(axis=1, keepdims=True), 1e-300)
    good, weight = good_shares[:, 0], good_shares[:, 1]
    shares = np.concatenate(
        [np.tile(good[:, None], (count, 1, 1)), (1 - good[:, None]) * odds[:, None, :]], axis=2
    )  # (C, Q, S)
    log_share = np.where(there[:, None, :], np.log(np.maximum(shares, 1e-300)), -np.inf)
    without = np.exp(base[states] - np.log(np.maximum(prior[states], 1e-300)))
    usual = 0.5 * without[:, 0] + 0.5 * (without[:, 1:] * odds).sum(axis=1)
    total = np.tile(np.log(usual)[:, None], len(good))
    slopes = fit.slopes(states.ravel()).reshape(*states.shape, len(fit.y), len(fit.spreads))
    mean = np.zeros((*total.shape, slopes.shape[3]))
    covariance = np.tile(np.eye(mean.shape[2]), (*total.shape, 1, 1))
    bad_count = np.zeros(total.shape)
    for i in range(len(fit.y)):
        slope = slopes[:, :, i]  # (C, S, P)
        seen = slope[:, None] @ covariance  # (C, Q, S, P)
        variance = np.einsum("cqsp,csp->cqs", seen, slope) + fit.variance[states, i][:, None, :]
        residual = fit.residual[states, i][:, None, :] - mean @ slope.transpose(0, 2, 1)
        chance = (BAD_READING * BAD_WEIGHT + bad_count) / (BAD_WEIGHT + i)
        fits = log_share - 0.5 * (residual**2 / variance + np.log(2 * math.pi * variance))
        fits += np.log(1 - chance)[:, :, None]
        every_way = np.concatenate([fits, (fit.log_bad[i] + np.log(chance))[:, :, None]], axis=2)
        total = total + np.logaddexp.reduce(every_way, axis=2)
        best = np.argmax(every_way, axis=2)[:, :, None]
        is_bad = best == states.shape[1]  # such a reading teaches nothing about the unknowns
        bad_count = bad_count + is_bad[:, :, 0]
        best = np.where(is_bad, 0, best)
        its = np.take_along_axis(seen, best[..., None], axis=2)[:, :, 0]  # (C, Q, P)
        gain = its / np.take_along_axis(variance, best, axis=2) * ~is_bad
        mean = mean + gain * np.take_along_axis(residual, best, axis=2)
        covariance = covariance - gain[..., :, None] * its[..., None, :]
    return np.asarray(total + np.log(weight / weight.sum()))
