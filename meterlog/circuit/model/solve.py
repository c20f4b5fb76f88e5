"""The network: node voltages and currents for given resistances, source, loads, meters and lamps.

Kirchhoff's voltage law over the circuit's loops (see `loops`). Whatever is hung between two nodes (a meter, a lamp, a
short to ground) closes one more loop through the tree; two loops share the resistance of the parts that both pass. The
linear loops are eliminated one after the other (Schur complement), the chain's load is solved on what is left in closed
form, and the currents follow backwards. Everything is an array operation over any batch shape.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from meterlog.circuit.model.circuit import Circuit

METER_OHM = 10e6
"""Input resistance of a usual hand-held meter on volts (trade press)."""

OPEN_OHM = 1e10
"""Stands for infinity inside the solver, ohm: leaves 0.1 % of the voltage on a 10 Mohm meter."""

CONSTANT_SHARE = 0.8
"""Share of a motor's current that does not depend on its voltage: a displacement pump at a regulated pressure asks
for a nearly constant torque, and a permanent-magnet motor's current follows its torque. Default, unverified."""

CHARGED_V, CHARGING_OVER_V = 12.5, 1.5
"""A battery's own voltage, and how far its charging current lifts it above that, V in a 12 V system. Guesses."""

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Shunt:
    """Something hung between two nodes: a meter, a lamp, a short. `ohm` broadcasts against the batch."""

    node_a: int
    node_b: int
    ohm: ArrayLike = METER_OHM


@dataclass(frozen=True, slots=True)
class LoadModel:
    """The load's current as a function of its voltage; each figure broadcasts against the batch.

    A motor that turns draws `current_a * (c + (1 - c) * v / nominal_v)`, c being `constant_share`; below the voltage
    at which that exceeds v / winding_ohm it stands still and is its winding. A plain resistance has c = 0. A battery
    that is charged draws `current_a * (v - own_v) / nominal_v`.

    Attributes:
        current_a: at nominal_v, A.
        winding_ohm: at rest, ohm.
        nominal_v: V.
        constant_share: 0 to 1.
        stalled: it stands still at any voltage.
        own_v: what it has without current, V; 0 but for a battery. Only with c = 0.
    """

    current_a: ArrayLike
    winding_ohm: ArrayLike
    nominal_v: float
    constant_share: ArrayLike = CONSTANT_SHARE
    stalled: ArrayLike = False
    own_v: ArrayLike = 0.0


@dataclass(frozen=True, slots=True)
class Solution:
    """The solved network: voltages and currents.

    Attributes:
        node_v: voltage of each node against battery - (the last node), V, shape (..., n).
        part_a: current through each part in its direction, A, shape (..., n).
        load_v: voltage across the load element itself, V, shape (...).
        load_a: current through it, A, shape (...).
        load_dynamic_ohm: how its voltage moves with its current there, ohm, shape (...).
    """

    node_v: Array
    part_a: Array
    load_v: Array
    load_a: Array
    load_dynamic_ohm: Array


def load_model(
    circuit: Circuit,
    *,
    current_share: ArrayLike = 1.0,
    stalled: ArrayLike = False,
    winding_share: ArrayLike = 1.0,
    rest_v: ArrayLike | None = None,
) -> LoadModel:
    """The circuit's load when good, its current and winding scaled by shares; `rest_v` is the battery's own voltage,
    where that is the load."""
    motor = circuit.parts[circuit.load].kind == "motor"
    share = np.asarray(current_share, float)
    if circuit.charges:
        return LoadModel(
            current_a=circuit.load_a * share,
            winding_ohm=circuit.winding_ohm,
            nominal_v=CHARGING_OVER_V * circuit.volts_scale,
            constant_share=0.0,
            own_v=CHARGED_V * circuit.volts_scale if rest_v is None else rest_v,
        )
    return LoadModel(
        current_a=circuit.load_a * share,
        winding_ohm=circuit.winding_ohm * np.asarray(winding_share, float) / (1.0 if motor else share),
        nominal_v=circuit.system_v,
        constant_share=CONSTANT_SHARE if motor else 0.0,
        stalled=stalled,
    )


def unplug(circuit: Circuit, resistance_ohm: ArrayLike, loads: Iterable[int]) -> Array:
    """The resistances with the connectors of some loads taken apart."""
    apart = np.array(resistance_ohm, float)
    apart[..., [k for load in loads for k in circuit.plug_of(load)]] = np.inf
    return apart


def load_current(load: LoadModel, emf_v: Array, ohm: Array) -> tuple[Array, Array, Array]:
    """Voltage (V), current (A) and dV/dI (ohm) of the load behind a source of `emf_v` and `ohm`, closed form."""
    amps, winding = np.asarray(load.current_a, float), np.asarray(load.winding_ohm, float)
    c = np.asarray(load.constant_share, float)
    slope = amps * (1 - c) / load.nominal_v
    stall_v = amps * c / np.maximum(1 / winding - slope, 1e-12)
    turning_v = (emf_v - ohm * amps * c) / (1 + ohm * slope)
    turning = (turning_v >= stall_v) & (c > 0) & ~np.asarray(load.stalled, bool)
    still_ohm = np.where((c > 0) | np.asarray(load.stalled, bool), winding, load.nominal_v / np.maximum(amps, 1e-12))
    own_v = np.asarray(load.own_v, float)
    volts = np.where(turning, turning_v, (emf_v * still_ohm + own_v * ohm) / (still_ohm + ohm))
    current = np.where(turning, amps * c + slope * turning_v, (emf_v - own_v) / (still_ohm + ohm))
    return volts, current, np.where(turning, 1 / np.maximum(slope, 1e-12), still_ohm)


def solve(
    circuit: Circuit,
    resistance_ohm: ArrayLike,
    emf_v: ArrayLike,
    load: LoadModel,
    shunts: Sequence[Shunt] = (),
) -> Solution:
    """Solve the circuit.

    Args:
        circuit: its loops.
        resistance_ohm: shape (..., n), ohm; inf for open. The battery's entry is its internal resistance; that of the
            chain's load is in series with the load element (0 when good).
        emf_v: the source's voltage without load, V, shape (...).
        load: how the load draws.
        shunts: meters, lamps, shorts.
    """
    # finite everywhere: an infinite resistance would make what loops share infinite less infinite
    ohm = np.minimum(np.asarray(resistance_ohm, float), OPEN_OHM)
    emf = np.asarray(emf_v, float)
    way, loop = circuit.loops.way, circuit.loops.loop
    rows = np.array([*(way[shunt.node_a] - way[shunt.node_b] for shunt in shunts), *loop])
    z = _shared_ohm(ohm, rows)
    for q, shunt in enumerate(shunts):
        z[q][q] = z[q][q] + np.asarray(shunt.ohm, float)
    v = [emf * row[0] for row in rows]
    _eliminate(z, v)
    # the load comes last, since it alone is not linear: all else is then a source with one resistance to it
    load_v, load_a, dynamic = load_current(load, v[-1], np.maximum(z[-1][-1], 0.0))
    current = _backwards(z, v, load_a)
    shape = np.broadcast_shapes(ohm.shape[:-1], *(np.shape(a) for a in current), emf.shape)
    part_a = np.stack([np.broadcast_to(amps, shape) for amps in current], axis=-1) @ rows
    rise = -part_a * ohm
    rise[..., 0] += emf
    return Solution(rise @ way.T, part_a, *(np.broadcast_to(a, shape) for a in (load_v, load_a, dynamic)))


def seen_between(circuit: Circuit, ohm: Array, load_ohm: ArrayLike, node_i: int, node_j: int) -> tuple[Array, Array]:
    """Send 1 A in at one node and out at another, the sources off.

    Args:
        circuit: its loops.
        ohm: shape (..., n), finite.
        load_ohm: the chain's load where it works, ohm.
        node_i: where the ampere goes in.
        node_j: where it comes out.

    Returns:
        What a meter sees between the two nodes, ohm, shape (...); each loop's current, A, shape (..., L), by which
        part k carries `way[i] - way[j] - currents @ loop`.
    """
    direct = circuit.loops.way[node_i] - circuit.loops.way[node_j]
    loop = circuit.loops.loop
    z = _shared_ohm(ohm, loop)
    z[-1][-1] = z[-1][-1] + np.asarray(load_ohm, float)
    shared = [ohm @ (row * direct) for row in loop]
    v = list(shared)
    _eliminate(z, v)
    current = _backwards(z, v, v[-1] / z[-1][-1])
    seen = ohm @ direct**2 - sum(a * b for a, b in zip(shared, current, strict=True))
    return np.maximum(seen, 0.0), np.stack(np.broadcast_arrays(*current), axis=-1)


def _shared_ohm(ohm: Array, rows: Array) -> list[list[Array]]:
    """The resistance that each two loops share, ohm, signed by whether they pass it in the same sense."""
    return [[np.asarray(ohm @ (p * q)) for q in rows] for p in rows]


def _eliminate(z: list[list[Array]], v: list[Array]) -> None:
    """Eliminate all loops but the last from the others, in place."""
    for q in range(len(v) - 1):
        for p in range(q + 1, len(v)):
            factor = z[p][q] / z[q][q]
            v[p] = v[p] - factor * v[q]
            for r in range(q + 1, len(v)):
                z[p][r] = z[p][r] - factor * z[q][r]


def _backwards(z: list[list[Array]], v: list[Array], last: Array) -> list[Array]:
    """The currents of all loops, given that of the last."""
    current = [last] * len(v)
    for q in range(len(v) - 2, -1, -1):
        current[q] = (v[q] - sum(z[q][r] * current[r] for r in range(q + 1, len(v)))) / z[q][q]
    return current
