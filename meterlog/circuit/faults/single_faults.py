"""Lists the ways in which one part, command or load fails alone, each with how often."""

from __future__ import annotations

import numpy as np

from meterlog.circuit.faults import fault_shares as shares
from meterlog.circuit.faults.cells import Row
from meterlog.circuit.faults.fault_ohms import PAIR_CELL_WIDTH, least_fault_ohm, resistance_cells
from meterlog.circuit.faults.fault_rates import Rates, open_share, part_rate
from meterlog.circuit.faults.on_the_way import contact_before, fuse_before, shared_ground
from meterlog.circuit.model.circuit import WINDING_SHARE, Circuit

LEAST_IN_LOAD = {"motor": 8.0, "load": 3.0}
"""Times that from which more resistance inside the load is a fault of it: less is how loads differ, and no reading
tells it. A motor that loses a quarter of its voltage inside turns a quarter slower. Guesses."""


def single_faults(circuit: Circuit, rates: Rates, series: list[int]) -> list[Row]:
    """Every way in which the parts in series, the loads, the battery and the commands fail alone."""
    found = [row for k in series for row in _part_faults(circuit, k, part_rate(circuit, k, rates))]
    for k in circuit.loads:
        found += _load_faults(circuit, rates, k)
    found += _battery_faults(circuit, part_rate(circuit, 0, rates))
    for command, k in circuit.commands.items():
        found += _command_faults(circuit, rates.of(command, "command"), k)
        found += _always_on(circuit, rates, k)
    return found


def _part_faults(circuit: Circuit, k: int, rate: float) -> list[Row]:
    """A part of a way: open, with too much resistance, and what its kind does besides."""
    part = circuit.parts[k]
    share = shares.SERIES_SHARE.get(part.kind, 1.0)
    if circuit.charges and k == circuit.load:
        share = shares.CHARGED_BATTERY_SERIES_SHARE
    opens = open_share(circuit, k)
    found = _opens(circuit, k, rate * share * opens)
    found += _resistive(circuit, k, rate * share * (1 - opens) * (shares.BY_DESIGN_SHARE if part.by_design else 1.0))
    if part.leaks_to:
        found += _wet(circuit, k, rate * shares.WET_SHARE)
    if part.kind == "wire" and fuse_before(circuit, k) > 0:
        found.append(Row(rate * shares.CHAFED_WIRE_SHARE, "short_to_ground", (k,), short_at=k))
    if part.closed_in is not None and not part.command and "off" not in circuit.active:
        found.append(Row(rate * shares.STUCK_CONTACT, "stuck_closed", (k,), stuck_at=k))
    return found


def _opens(circuit: Circuit, k: int, rate: float) -> list[Row]:
    """A part that is open; a fuse may have blown since it is of too small a size, or since something else that hangs on
    it is shorted."""
    behind = next((next_ for next_, before in enumerate(circuit.before) if before == k), -1)
    if circuit.parts[k].kind != "fuse" or behind < 0:
        return [Row(rate, "open", (k,), (np.inf,), (0.0,))]
    small, branch = rate * shares.SMALL_FUSE_SHARE, rate * shares.SHORTED_BRANCH_SHARE
    return [
        Row(rate - small, "open", (k,), (np.inf,), (0.0,)),
        Row(small, "wrong_size", (k,), (np.inf,), (0.0,), small_fuse=True),
        Row(branch, "branch_shorted", (k,), short_at=behind),
    ]


def _resistive(circuit: Circuit, k: int, rate: float) -> list[Row]:
    """A part with too much resistance; on a bad ground alone, or with another load that returns through it."""
    least = LEAST_IN_LOAD[circuit.parts[k].kind] * least_fault_ohm(circuit, k) if k in circuit.loads else 0.0
    return [
        Row(rate * w * share, "high_resistance", (k,), (ohm,), (spread,), neighbour_ohm=neighbour_ohm)
        for neighbour_ohm, share in _neighbours(circuit, k)
        for ohm, spread, w in resistance_cells(circuit, k=k)
        if ohm >= least
    ]


def _wet(circuit: Circuit, k: int, rate: float) -> list[Row]:
    """A connector that leaks to another contact: alone, or with the loss that corrosion makes in it."""
    lossy = [((ohm,), (s,), shares.GREEN_SHARE * w) for ohm, s, w in resistance_cells(circuit, PAIR_CELL_WIDTH, k)]
    return [
        Row(rate * share * w, "leaks", (k,), ohm, spread, leak_at=k, leak_ohm=leak_ohm)
        for share, leak_ohm in shares.LEAK_OHM
        for ohm, spread, w in (((), (), 1 - shares.GREEN_SHARE), *lossy)
    ]


def _command_faults(circuit: Circuit, rate: float, k: int) -> list[Row]:
    """The ways in which what should close a contact fails; a key switch has a contact for each of its positions."""
    ways = [(1.0, "not_commanded", shares.NOT_FED), (shares.WEAKLY_COMMANDED, "weakly_commanded", shares.WEAKLY_FED)]
    if {"key_on", "crank"} <= set(circuit.active):
        ways += [(share, "half_commanded", coil) for share, coil in shares.HALF_COMMANDED]
    total = sum(share for share, _, _ in ways)
    return [Row(rate * share / total, fault, coil_share=coil, command_at=k) for share, fault, coil in ways]


def _neighbours(circuit: Circuit, k: int) -> tuple[tuple[float, float], ...]:
    """Resistance of other loads on part k's ground, ohm, and how often each is there; none first."""
    if k != shared_ground(circuit):
        return ((np.inf, 1.0),)
    others = shares.NEIGHBOURS
    scaled = tuple((ohm * circuit.volts_scale, share) for ohm, share in others)
    return ((np.inf, 1 - sum(share for _, share in others)), *scaled)


def _always_on(circuit: Circuit, rates: Rates, k: int) -> list[Row]:
    """A contact that never opens, and wires behind it that touch another one with a feed; not where it may be on with
    the key off."""
    if "off" in circuit.active:
        return []
    found = [Row(part_rate(circuit, k, rates) * shares.STUCK_CONTACT, "stuck_closed", (k,), stuck_at=k)]
    for wire, part in enumerate(circuit.parts):
        if part.kind == "wire" and circuit.on_feed_side[wire] and contact_before(circuit, wire) == k:
            rate = part_rate(circuit, wire, rates) * shares.FED_WIRE_SHARE
            found += [Row(rate * w, "fed_elsewhere", (wire,), fed_at=k, fed_ohm=ohm) for w, ohm in shares.FEEDS]
    return found


def _load_faults(circuit: Circuit, rates: Rates, k: int) -> list[Row]:
    """The ways in which a load fails beside those in series; of a branch's load those that a fuse or a neighbour
    notices."""
    rate = part_rate(circuit, k, rates)
    if circuit.charges:
        return []  # a battery takes what it needs
    found: list[Row] = []
    if fuse_before(circuit, k) > 0:
        found.append(Row(rate * shares.SHORTED_LOAD_SHARE, "short_to_ground", (k,), short_at=k))
    if k != circuit.load:
        if circuit.parts[k].kind == "motor":
            less_ohm = (WINDING_SHARE - 1) * circuit.healthy_ohm()[k]
            found.append(Row(rate * shares.STALLED_SHARE, "stalled", (k,), (less_ohm,), (0.0,)))
        return found
    if circuit.parts[k].kind != "motor":
        return found + _weak(rate, k, shares.WEAK_LOAD)
    found += [Row(rate * shares.STALLED_SHARE, "stalled", (k,), stalled=True), *_weak(rate, k, shares.WEAK_MOTOR)]
    return found


def _weak(rate: float, k: int, ways: tuple[tuple[float, float, float], ...]) -> list[Row]:
    return [Row(rate * share, "weak", (k,), share=current, share_spread=spread) for share, current, spread in ways]


def _battery_faults(circuit: Circuit, rate: float) -> list[Row]:
    """The ways in which the source is weak: a battery, or what charges one."""
    ways = shares.CHARGER_FAULTS if circuit.charges else shares.BATTERY_FAULTS
    return [Row(rate * share, "weak", (0,), source=source) for share, source in ways]
