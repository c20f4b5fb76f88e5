"""Tells what an observation without an instrument is about: for each cell, how likely the fact holds there."""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np
from numpy.typing import NDArray

from meterlog.circuit.faults.cells import FAULTS
from meterlog.circuit.faults.fault_ohms import least_fault_ohm
from meterlog.circuit.model.solve import Solution, load_model, solve
from meterlog.circuit.probability.predict import Network
from meterlog.circuit.probability.solved_cells import state_index
from meterlog.circuit.readings.observed import Observed

RUNS_FROM, CRANKS_FROM, LIVES_FROM = 0.5, 0.72, 0.6
"""Shares of the system voltage: a load is heard or felt to run, the starter turns the engine as usual, lamps light on
the dashboard. Guesses."""
STEP_WIDTH = 0.05
"""By how much these are blurred, as a share of the system voltage. A guess."""
HOT_W, HOT_WIDTH_W = 4.0, 1.5
"""From about this power on a part of a circuit is felt to be hot. A guess."""
COIL_SHARE = 0.4
"""Share of a relay's own open faults in which the coil is open, so that it does not click. A guess."""
IMMOBILISED = 0.15
"""Share of missing commands that an immobiliser holds back. A guess."""
LOOSENED_KINDS = ("connector", "ground", "wire", "fuse")
"""Kinds of parts that other work on a vehicle disturbs. A guess."""

Array = NDArray[np.float64]
Fact = Callable[[Network, Observed], Array]


def chance_of(network: Network, one: Observed) -> Array:
    """The likelihood of an observation in each cell, shape (K,)."""
    holds = FACTS[one.fact](network, one)
    if_so, if_not = one.likelihood
    return holds * if_so + (1 - holds) * if_not


def comes_and_goes_log(network: Network, one: Observed) -> Array:
    """Return how much more likely (log) an observation is where each part's contact comes and goes, shape (2n,),
    beyond what `chance_of` says of its good and its bad moments."""
    parts = network.circuit.parts
    named = [*(part.id for part in parts), *(part.command for part in parts)]
    if one.fact != "comes_and_goes":
        return np.zeros(len(named))
    if_so, if_not = one.likelihood
    meant = [one.answer not in named or one.answer == id_ for id_ in named]
    return np.where(meant, np.log(if_so / if_not), 0.0)


def _runs_at_key_on(network: Network, _: Observed) -> Array:
    return _runs_in(network, "key_on")


def _runs(network: Network, _: Observed) -> Array:
    """In whichever state the circuit is meant to be on."""
    states = {"key_on", "crank", "run"} & set(network.circuit.active) or {"run"}
    silent = np.prod([1 - _runs_in(network, state) for state in sorted(states)], axis=0)
    return np.asarray(1 - silent)


def _relay_pulls(network: Network, _: Observed) -> Array:
    cells, circuit = network.cells, network.circuit
    pulls = np.ones(len(cells))
    for k in circuit.commands.values():
        own = (cells.part[:, 0] == k) & (cells.part[:, 1] < 0) & (cells.fault == FAULTS.index("open"))
        pulls *= network.closed("key_on", k) * np.where(own, 1 - COIL_SHARE, 1.0)
    return pulls


def _commanded_cranking(network: Network, _: Observed) -> Array:
    closed = np.ones(len(network.cells))
    for k in network.circuit.commands.values():
        closed = closed * network.closed("crank", k)
    return closed


def _battery_cranks(network: Network, _: Observed) -> Array:
    if network.circuit.turns_engine:
        return _runs_in(network, "crank")
    volts = network.cells.source_v[:, state_index("crank")]
    return _smooth(volts / network.circuit.system_v, CRANKS_FROM) * _clamps_hold(network)


def _battery_lives(network: Network, _: Observed) -> Array:
    volts = network.cells.source_v[:, state_index("key_on")]
    open_clamp = np.isinf(network.cells.ohm[:, _clamps(network)]).any(axis=1)
    return _smooth(volts / network.circuit.system_v, LIVES_FROM) * ~open_clamp


def _fuse_whole(network: Network, _: Observed) -> Array:
    fuses = [k for k in network.circuit.chain if network.circuit.parts[k].kind == "fuse"]
    return 1.0 - np.isinf(network.cells.ohm[:, fuses]).any(axis=1).astype(float)


def _immobilised(network: Network, _: Observed) -> Array:
    """An immobiliser that holds the command back."""
    return np.where(network.cells.fault == FAULTS.index("not_commanded"), IMMOBILISED, 0.0)


def _small_fuse(network: Network, _: Observed) -> Array:
    return network.cells.small_fuse.astype(float)


def _heated(network: Network, one: Observed) -> Array:
    """A part by its own power at the load's current, or any of them; the load itself where it is stuck."""
    circuit, cells = network.circuit, network.cells
    solution = _solved(network, "run" if "run" in circuit.active else "crank")
    ohm = np.minimum(cells.ohm - circuit.healthy_ohm(), 1e9)
    watt = solution.part_a**2 * np.maximum(ohm, 0.0)
    hot = 1 / (1 + np.exp(np.clip(-(watt - HOT_W) / HOT_WIDTH_W, -50, 50)))
    hot[:, circuit.load] = np.where(cells.stalled & (solution.load_a > 0), 1.0, hot[:, circuit.load])
    k = circuit.commands.get(one.answer, circuit.part_index.get(one.answer))
    return np.asarray(hot.max(axis=1) if k is None else hot[:, k])


def _at_plug(network: Network, _: Observed) -> Array:
    wet = [k for k, part in enumerate(network.circuit.parts) if part.leaks_to]
    return _at_fault(network, [*network.circuit.plug, *wet])


def _loosened(network: Network, _: Observed) -> Array:
    parts = network.circuit.parts
    return _at_fault(network, [k for k, part in enumerate(parts) if part.kind in LOOSENED_KINDS])


def _comes_and_goes(network: Network, _: Observed) -> Array:
    """No cell: they stand still. See `comes_and_goes_log`."""
    return np.zeros(len(network.cells))


def _fails_warm(network: Network, one: Observed) -> Array:
    """Return how surely each fails when warm; what does not run cold does, too, a contact that heat opens in part."""
    return 1 - _runs(network, one)


FACTS: Mapping[str, Fact] = {
    "runs_at_key_on": _runs_at_key_on,
    "runs": _runs,
    "relay_pulls": _relay_pulls,
    "commanded_cranking": _commanded_cranking,
    "battery_cranks": _battery_cranks,
    "battery_lives": _battery_lives,
    "fuse_whole": _fuse_whole,
    "immobilised": _immobilised,
    "small_fuse": _small_fuse,
    "heated": _heated,
    "at_plug": _at_plug,
    "loosened": _loosened,
    "comes_and_goes": _comes_and_goes,
    "fails_warm": _fails_warm,
}
"""Every fact that `readings/observations.toml` may name."""


def _at_fault(network: Network, parts: list[int]) -> Array:
    return np.isin(network.cells.part, parts).any(axis=1).astype(float)


def _runs_in(network: Network, state: str) -> Array:
    found = _solved(network, state)
    volts = np.where(network.cells.stalled, 0.0, found.load_v)
    return _smooth(volts / network.circuit.system_v, RUNS_FROM)


def _solved(network: Network, state: str) -> Solution:
    cells = network.cells
    load = load_model(network.circuit, current_share=cells.share, stalled=cells.stalled)
    emf = cells.source_v[:, state_index(state)]
    return solve(network.circuit, network.resistances(state), emf, load)


def _clamps(network: Network) -> list[int]:
    """The battery's clamps: the connectors that are its neighbours."""
    parts = network.circuit.parts
    return [k for k in (1, network.circuit.minus) if parts[k].kind == "connector"]


def _clamps_hold(network: Network) -> Array:
    """Cells in which the clamps carry a starter's current."""
    healthy = network.circuit.healthy_ohm()
    clamps = _clamps(network)
    lost = network.cells.ohm[:, clamps] - healthy[clamps] > least_fault_ohm(network.circuit) / 2
    return 1.0 - lost.any(axis=1).astype(float)


def _smooth(x: Array, middle: float) -> Array:
    return np.asarray(1 / (1 + np.exp(np.clip(-(x - middle) / STEP_WIDTH, -60, 60))))
