"""Weighs each cell by what was tried: a direct feed, a replaced part, a load that works or does not."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from meterlog.circuit.faults.cells import FAULTS
from meterlog.circuit.faults.on_the_way import fuse_before
from meterlog.circuit.model.circuit import Circuit
from meterlog.circuit.model.solve import LoadModel, Shunt, load_model, solve
from meterlog.circuit.probability.facts import chance_of
from meterlog.circuit.probability.predict import Network
from meterlog.circuit.probability.solved_cells import state_index
from meterlog.circuit.readings.observed import Observed
from meterlog.circuit.readings.trial import Told, Tried
from meterlog.circuit.readings.unplugged import positions

JUMPER_OHM = 0.1
"""A pair of clip leads. A guess, ohm."""
NOT_TRIED_WHILE_IT_WORKS = 0.85
"""Share of trials on a load that does not work: nobody feeds it or replaces its parts while it does. A guess."""
CURED, COMMAND_CURED, CURED_BY_CHANCE, NEW_FUSE_HOLDS = 0.92, 0.7, 0.06, 0.08
"""Share of replacements after which the load runs: the part was the one (some new ones are bad: about one pump in ten
comes back), the part had not been commanded, it was another one (the handling cures a connection next to it), a fuse
that a short had blown. Guesses."""
DIFFERS, DIFFERS_BY_CHANCE = 0.85, 0.06
"""Share of parts at fault that measure otherwise than a known-good one once they are taken out, and of good ones: a
fault may need current or heat to show, and two makes of one part differ. Guesses."""
BOTH_LEADS_AT_LOAD, BOTH_LEADS_ELSEWHERE = 0.5, 0.05
"""Share of direct feeds that bring the ground from the battery too. Guesses."""
BLOWS_BY_CHANCE, SHORT_BLOWS, SMALL_BLOWS, STALLED_BLOWS, GREEDY_SHARE = 0.01, 0.75, 0.5, 0.3, 1.4
"""Share of trials in which a fuse blows and is seen to: with nothing that explains it, with a short behind it, one of
too small a size, with a load that is stuck or draws more than this share of a good one's current (a jammed pump blew
its fuse: trade press). Guesses."""
RUNS_FROM, WORKS_FROM, STEP_WIDTH = 0.5, 0.75, 0.07
"""Of the system voltage: a load counts as running on a feed from the first on, and as working in the vehicle so that
nobody complains from the second; both are blurred by the third, since nobody knows them exactly. Guesses."""
LEAST_CHANCE = 0.03
"""A trial's result never has less than this chance: people misjudge and slip. A guess."""

Array = NDArray[np.float64]


def tried_log(network: Network, tried: Sequence[Told]) -> Array:
    """The log-likelihood of what was tried and observed in each cell, shape (K,)."""
    total = np.zeros(len(network.cells))
    if any(isinstance(one, Tried) and not one.compared for one in tried):
        total += np.log(1 - NOT_TRIED_WHILE_IT_WORKS * works(network))
    for one in tried:
        total += np.log(chance_of(network, one) if isinstance(one, Observed) else outcome(network, one))
    return total


def outcome(network: Network, one: Tried) -> Array:
    """Give the probability of what came of a trial in each cell, shape (K,)."""
    if one.compared:
        differs = _differs(network, one)
        return differs if one.result == "differs" else 1 - differs
    blew = _blows(network, one)
    if one.result == "blew":
        return blew
    runs = _replaced(network, one) if one.replaced else _powered(network, one)
    return (1 - blew) * (runs if one.result == "runs" else 1 - runs)


def _blows(network: Network, one: Tried) -> Array:
    """The probability, in each cell, that a fuse blows and is seen to: the new one, or that of the lead."""
    cells, circuit = network.cells, network.circuit
    chance = np.full(len(cells), BLOWS_BY_CHANCE)
    if one.replaced and circuit.parts[circuit.part_index.get(one.replaced, 0)].kind != "fuse":
        return chance
    out = positions(circuit, one.unplugged)
    too_much = (cells.stalled | (cells.share > GREEDY_SHARE)) & (circuit.load not in out)
    chance[too_much & (cells.part[:, 1] < 0)] = STALLED_BLOWS
    for k in np.unique(cells.short_at[(cells.short_at >= 0) & ~np.isin(cells.short_at, out)]):
        fuse = fuse_before(circuit, int(k))
        feeds = circuit.part_index.get(one.replaced or one.bridged, -1) == fuse
        if one.into:
            node = _into(circuit, one)
            feeds = circuit.on_feed_side[node] and fuse in (*circuit.upstream[node], node)
        if feeds:
            chance[cells.short_at == k] = SHORT_BLOWS
    chance[cells.small_fuse & (cells.part[:, 0] == circuit.part_index.get(one.replaced, -1))] = SMALL_BLOWS
    return chance


def _differs(network: Network, one: Tried) -> Array:
    """The probability, in each cell, that a part measures otherwise than a known-good one."""
    at_fault = (network.cells.part == network.circuit.part_index[one.compared]).any(axis=1)
    return np.where(at_fault, DIFFERS, DIFFERS_BY_CHANCE)


def _replaced(network: Network, one: Tried) -> Array:
    """The probability, in each cell, that the load runs after a part was replaced: a good part in a bad one's place
    cures a single fault there 92 times in 100 (some new ones are bad: about one pump in ten comes back), and sometimes
    the handling cures a connection next to it."""
    cells, circuit = network.cells, network.circuit
    chance = np.full(len(cells), CURED_BY_CHANCE)
    command = circuit.commands.get(one.replaced)
    if command is not None:
        chance[cells.command_at == command] = COMMAND_CURED
        return chance
    k = circuit.part_index.get(one.replaced, circuit.node(one.replaced))
    out = positions(circuit, one.unplugged)
    single = (cells.part[:, 0] == k) & (cells.part[:, 1] < 0)
    chance[single] = CURED
    if circuit.parts[k].kind == "fuse":
        chance[cells.short_at >= 0] = NEW_FUSE_HOLDS
        chance[np.isin(cells.short_at, out)] = CURED  # what was shorted is off the circuit
    if circuit.load in out:
        chance[:] = LEAST_CHANCE
    return chance


def _powered(network: Network, tried: Tried) -> Array:
    """The probability, in each cell, that the load runs on a direct feed or with a part bridged, shape (K,).

    A feed right at the load's own terminal is half the time done with both leads (its ground from the battery
    too); elsewhere seldom. A load counts as running from about half the system voltage. Guesses, all three.
    """
    c, cells = network.circuit, network.cells
    ohm, emf, model = _in_state(network, _key_turned_to(c), positions(c, tried.unplugged))
    if tried.bridged:
        into = c.part_index[tried.bridged]
        jumper, both = Shunt(*c.across(into), JUMPER_OHM), 0.0
    else:
        into = _into(c, tried)
        from_node = c.node(tried.feed) if c.part_index.get(tried.feed) != 0 else 0
        jumper = Shunt(from_node, into, JUMPER_OHM)
        both = BOTH_LEADS_AT_LOAD if into == c.load - 1 else BOTH_LEADS_ELSEWHERE if c.on_feed_side[into] else 0.0
    ground = Shunt(c.minus, c.load, JUMPER_OHM)
    chance = np.zeros(len(cells))
    for share, shunts in ((1 - both, [jumper]), (both, [jumper, ground])):
        if share:
            found = solve(c, ohm, emf, model, shunts)
            volts = np.where(cells.stalled, 0.0, found.load_v)
            chance += share * _smooth(volts / c.system_v, RUNS_FROM)
    return np.clip(chance, LEAST_CHANCE, 1 - LEAST_CHANCE)


def _into(circuit: Circuit, tried: Tried) -> int:
    """The node that a feed goes to; of a part, its side towards the source."""
    part = circuit.part_index.get(tried.into)
    if part is None:
        return circuit.node(tried.into)
    before, after = circuit.across(part)
    return before if circuit.on_feed_side[part] or part in circuit.loads else after


def works(network: Network) -> Array:
    """The probability, in each cell, that the load works in the vehicle so that nobody complains, shape (K,)."""
    found = solve(network.circuit, *_in_state(network, _in_use(network.circuit)))
    volts = np.where(network.cells.stalled | (network.cells.fault == FAULTS.index("weak")), 0.0, found.load_v)
    return _smooth(volts / network.circuit.system_v, WORKS_FROM)


def _in_use(circuit: Circuit) -> str:
    """The state in which the circuit is used."""
    return next((s for s in ("run", "crank", *circuit.active) if s in circuit.active), "run")


def _key_turned_to(circuit: Circuit) -> str:
    """The state in which something is fed or bridged: the engine need not run for it."""
    return "key_on" if "key_on" in circuit.active else _in_use(circuit)


def _in_state(network: Network, state: str, out: tuple[int, ...] = ()) -> tuple[Array, Array, LoadModel]:
    """Resistances, source and load in a state, some loads unplugged."""
    load = load_model(network.circuit, current_share=network.cells.share, stalled=network.cells.stalled)
    return network.resistances(state, out), network.cells.source_v[:, state_index(state)], load


def _smooth(x: Array, middle: float) -> Array:
    """A step that is blurred by `STEP_WIDTH`."""
    return np.asarray(1 / (1 + np.exp(np.clip(-(x - middle) / STEP_WIDTH, -60, 60))))
