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
"""A pair of clip leads. A guess, ohm."""
NOT_TRIED_WHILE_IT_WORKS = 0.85
"""Share of trials on a load that does not work: nobody feeds it or replaces its parts while it does. A guess."""
CURED, COMMAND_CURED, CURED_BY_CHANCE, NEW_FUSE_HOLDS = 0.92, 0.7, 0.06, 0.08
"""Share of replacements after which the load runs: the part was the one (some new ones are bad: about one pump in ten
comes back), the part had not been commanded, it was another one (the handling cures a connection next to it), a fuse
that a short had blown. Guesses."""
BOTH_LEADS_AT_LOAD, BOTH_LEADS_ELSEWHERE = 0.5, 0.05
"""Share of direct feeds that bring the ground from the battery too. Guesses."""
RUNS_FROM, WORKS_FROM, STEP_WIDTH = 0.5, 0.75, 0.07
"""Of the system voltage: a load counts as running on a feed from the first on, and as working in the vehicle so that
nobody complains from the second; both are blurred by the third, since nobody knows them exactly. Guesses."""
LEAST_CHANCE = 0.03
"""A trial's result never has less than this chance: people misjudge and slip. A guess."""

Array = NDArray[np.float64]


def tried_log(network: Network, tried: Sequence[Tried]) -> Array:
    total = np.zeros(len(network.cells))
    if tried:
        total += np.log(1 - NOT_TRIED_WHILE_IT_WORKS * works(network))
    for one in tried:
        chance = _replaced(network, one) if one.replaced else runs(network, one)
        total += np.log(chance if one.runs else 1 - chance)
    return total


def _replaced(network: Network, one: Tried) -> Array:
    """The probability, in each cell, that the load runs after a part was replaced: a good part in a bad one's place
    cures a single fault there 92 times in 100 (some new ones are bad: about one pump in ten comes back), and sometimes
    the handling cures a connection next to it."""
    cells, circuit = network.cells, network.circuit
    chance = np.full(len(cells), CURED_BY_CHANCE)
    command = circuit.commands.get(one.replaced)
    if command is not None:
        chance[cells.fault == FAULTS.index("not_commanded")] = COMMAND_CURED
        return chance
    k = circuit.part_index.get(one.replaced, circuit.node(one.replaced))
    single = (cells.part[:, 0] == k) & (cells.part[:, 1] < 0)
    chance[single] = CURED
    if circuit.parts[k].kind == "fuse":
        chance[single & (cells.short_at >= 0)] = NEW_FUSE_HOLDS
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
    both = BOTH_LEADS_AT_LOAD if into == c.load - 1 else BOTH_LEADS_ELSEWHERE if into < c.load else 0.0
    chance = np.zeros(len(cells))
    for share, shunts in ((1 - both, [jumper]), (both, [jumper, ground])):
        if share:
            found = solve(c, ohm, emf, model, shunts)
            volts = np.where(cells.stalled, 0.0, found.load_v)
            chance += share * _smooth(volts / c.system_v, RUNS_FROM)
    return np.clip(chance, LEAST_CHANCE, 1 - LEAST_CHANCE)


def works(network: Network) -> Array:
    """The probability, in each cell, that the load works in the vehicle so that nobody complains, shape (K,)."""
    found = solve(network.circuit, *_in_use(network))
    volts = np.where(network.cells.stalled | (network.cells.fault == FAULTS.index("weak")), 0.0, found.load_v)
    return _smooth(volts / network.circuit.system_v, WORKS_FROM)


def _in_use(network: Network) -> tuple[Array, Array, LoadModel]:
    """Resistances, source and load in the state in which the circuit is used."""
    state = next((s for s in ("run", "crank", *network.circuit.active) if s in network.circuit.active), "run")
    load = load_model(network.circuit, current_share=network.cells.share, stalled=network.cells.stalled)
    return network.resistances(state, "connected"), network.cells.source_v[:, state_index(state)], load


def _smooth(x: Array, middle: float) -> Array:
    """A step that is blurred by `STEP_WIDTH`."""
    return np.asarray(1 / (1 + np.exp(np.clip(-(x - middle) / STEP_WIDTH, -60, 60))))
