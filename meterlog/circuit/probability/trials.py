"""Weighs each cell by what was tried: a direct feed, a replaced part, a load that works or does not."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from meterlog.circuit.faults.fault_cells import FAULTS
from meterlog.circuit.model.solve import LoadModel, Shunt, load_model, solve
from meterlog.circuit.probability.predict import Network, state_index
from meterlog.circuit.readings.measurement import Tried

JUMPER_OHM = 0.1
"""A pair of clip leads."""

Array = NDArray[np.float64]


def tried_log(network: Network, tried: Sequence[Tried]) -> Array:
    total = np.zeros(len(network.cells))
    if tried:  # nobody feeds a load or replaces its parts while it works
        total += np.log(1 - 0.85 * works(network))
    for one in tried:
        chance = _replaced(network, one) if one.replaced else runs(network, one)
        total += np.log(chance if one.runs else 1 - chance)
    return total


def _replaced(network: Network, one: Tried) -> Array:
    """The probability, in each cell, that the load runs after a part was replaced: a good part in a bad one's place
    cures a single fault there 92 times in 100 (some new ones are bad: about one pump in ten comes back), and sometimes
    the handling cures a connection next to it."""
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


def runs(network: Network, tried: Tried) -> Array:
    """The probability, in each cell, that the load runs on a direct feed, shape (K,).

    A feed right at the load's own terminal is half the time done with both leads (its ground from the battery
    too); elsewhere seldom. A load counts as running from about half the system voltage. Guesses, all three.
    """
    c, cells = network.circuit, network.cells
    source = c.part_index.get(tried.feed, -1)
    from_node = c.node(tried.feed) if source != 0 else 0
    part = c.part_index.get(tried.into)
    into = c.node(tried.into) if part is None else (part - 1 if part <= c.load else part)
    ohm, emf, model = _in_use(network)
    jumper = Shunt(from_node, into, JUMPER_OHM)
    ground = Shunt(len(c.parts) - 1, c.load, JUMPER_OHM)
    both = 0.5 if into == c.load - 1 else 0.05 if into < c.load else 0.0
    chance = np.zeros(len(cells))
    for share, shunts in ((1 - both, [jumper]), (both, [jumper, ground])):
        if share:
            found = solve(c, ohm, emf, model, shunts)
            volts = np.where(cells.stalled, 0.0, found.load_v)
            chance += share * _smooth(volts / c.system_v, 0.5)
    return np.clip(chance, 0.03, 0.97)


def works(network: Network) -> Array:
    """The probability, in each cell, that the load works in the vehicle so that nobody complains, shape (K,)."""
    found = solve(network.circuit, *_in_use(network))
    volts = np.where(network.cells.stalled | (network.cells.fault == FAULTS.index("weak")), 0.0, found.load_v)
    return _smooth(volts / network.circuit.system_v, 0.75)


def _in_use(network: Network) -> tuple[Array, Array, LoadModel]:
    """Resistances, source and load in the state in which the circuit is used."""
    state = next((s for s in ("run", "crank", *network.circuit.active) if s in network.circuit.active), "run")
    load = load_model(network.circuit, current_share=network.cells.share, stalled=network.cells.stalled)
    return network.resistances(state, "connected"), network.cells.source_v[:, state_index(state)], load


def _smooth(x: Array, middle: float) -> Array:
    """A step with a width of 0.07, for thresholds that nobody knows exactly."""
    return np.asarray(1 / (1 + np.exp(np.clip(-(x - middle) / 0.07, -60, 60))))
