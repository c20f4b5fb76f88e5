"""The network: node voltages and currents of the chain for given resistances, source, load, meters and lamps.

Cut at the load, the ring of parts is a line: the ground side from the load to battery -, the battery, the feed side
up to the load. Whatever is hung between two nodes (the load, a meter, a lamp, a short to ground) is then a port over an
interval of that line; two ports share the resistance of their overlap, and a port sees the source if its interval
holds the battery. The linear ports are eliminated one after the other (Schur complement), the load is solved on what
is left in closed form, and the currents follow backwards. Everything is an array operation over any batch shape.
"""

from __future__ import annotations

from collections.abc import Sequence
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
        part_a: current through each part in the direction of the chain, A, shape (..., n).
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


def unplug(circuit: Circuit, resistance_ohm: ArrayLike) -> Array:
    """The resistances with the load's connector taken apart."""
    apart = np.array(resistance_ohm, float)
    apart[..., list(circuit.plug)] = np.inf
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
    """Solve the chain.

    Args:
        circuit: its order of parts and the place of its load.
        resistance_ohm: shape (..., n), ohm; inf for open. The battery's entry is its internal resistance; the load's
            entry is in series with the load element (0 when good).
        emf_v: the source's voltage without load, V, shape (...).
        load: how the load draws.
        shunts: meters, lamps, shorts.
    """
    # finite everywhere: an infinite resistance would make the overlaps of ports infinite less infinite
    ohm = np.minimum(np.asarray(resistance_ohm, float), OPEN_OHM)
    n, at = len(circuit.parts), circuit.load
    emf = np.asarray(emf_v, float)
    spans = [_span(shunt.node_a, shunt.node_b, at, n) for shunt in shunts]
    spans.append((0, n))  # the load's own port: the whole line
    line = np.concatenate([ohm[..., at + 1 :], ohm[..., : at + 1]], axis=-1)  # n resistances in line order
    battery_at = n - 1 - at  # the battery's place on the line
    total = np.concatenate([np.zeros_like(line[..., :1]), np.cumsum(line, axis=-1)], axis=-1)
    k = len(spans)
    z = [[_overlap(total, spans[p], spans[q]) for q in range(k)] for p in range(k)]
    v = [emf * float(a <= battery_at < b) for a, b in spans]
    pivots: list[Array] = []
    for q in range(k - 1):
        pivot = z[q][q] + np.asarray(shunts[q].ohm, float)
        pivots.append(pivot)
        for p in range(q + 1, k):
            factor = z[p][q] / pivot
            v[p] = v[p] - factor * v[q]
            for r in range(q + 1, k):
                z[p][r] = z[p][r] - factor * z[q][r]
    # the load comes last, since it alone is not linear: all else is then a source with one resistance to it
    load_v, load_a, dynamic = load_current(load, v[-1], np.maximum(z[-1][-1], 0.0))
    current: list[Array] = [load_a] * k
    for q in range(k - 2, -1, -1):
        current[q] = (v[q] - sum(z[q][r] * current[r] for r in range(q + 1, k))) / pivots[q]
    shape = np.broadcast_shapes(total.shape[:-1], *(np.shape(a) for a in current), emf.shape)
    part_line = np.zeros((*shape, n))
    for (a, b), amps in zip(spans, current, strict=True):
        part_line[..., a:b] += np.broadcast_to(amps, shape)[..., None]
    node_v, part_a = _along(part_line, np.broadcast_to(line, (*shape, n)), np.broadcast_to(emf, shape), at)
    return Solution(node_v, part_a, *(np.broadcast_to(a, shape) for a in (load_v, load_a, dynamic)))


def _along(part_line: Array, line: Array, emf: Array, at: int) -> tuple[Array, Array]:
    """Node voltages and part currents in the chain's order, from currents and resistances in the line's order.

    On the line, current runs towards rising places; battery - is the place before the battery.
    """
    n = line.shape[-1]
    battery_at = n - 1 - at
    rise = -part_line * line
    rise[..., battery_at] += emf
    place_v = np.concatenate([np.zeros_like(rise[..., :1]), np.cumsum(rise, axis=-1)], axis=-1)
    place_v = place_v - place_v[..., battery_at : battery_at + 1]
    node_v = place_v[..., [line_place(k, at, n) for k in range(n)]]
    part_a = np.concatenate([part_line[..., battery_at:], part_line[..., :battery_at]], axis=-1)
    return node_v, part_a


def line_place(node: int, load: int, n: int) -> int:
    """The place on the line (0..n) of a node; the node after the load is the line's beginning."""
    return 0 if node == load else (node - load - 1) % n + 1


def _span(node_a: int, node_b: int, load: int, n: int) -> tuple[int, int]:
    a, b = sorted((line_place(node_a, load, n), line_place(node_b, load, n)))
    return a, b


def _overlap(total: Array, p: tuple[int, int], q: tuple[int, int]) -> Array:
    """The resistance that two spans of the line share, shape (...)."""
    a, b = max(p[0], q[0]), min(p[1], q[1])
    if b <= a:
        return np.zeros(total.shape[:-1])
    return np.asarray(total[..., b] - total[..., a])
