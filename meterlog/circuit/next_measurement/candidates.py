"""Every measurement that a circuit allows."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from itertools import pairwise
from typing import Literal

from meterlog.circuit.model.circuit import Circuit
from meterlog.circuit.model.part import BATTERY_MINUS
from meterlog.circuit.readings.halves import half, said
from meterlog.circuit.readings.measurement import Measurement

MOST_IN_SERIES_A = 9.0
"""Up to this load current a meter can stand in series: the current jack of hand-held meters is fused at 10 A."""
Tool = Literal["meter", "lamp"]
"""Says what a person has to read with."""
MOST_LOOKS: Mapping[Tool, int] = {"meter": 2, "lamp": 1}
"""So often a place is worth reading: the second time tells a probe that did not touch; a lamp is proved on the battery
instead. Guesses."""


def candidates(circuit: Circuit, measured: Sequence[Measurement], tool: Tool = "meter") -> list[Measurement]:
    """Every measurement that the circuit and the tool allow and that was not taken twice yet: a second look costs
    little and tells a probe that did not touch, or a contact that comes and goes, from a fault."""
    if tool == "lamp":
        every = [*_by_lamp(circuit, measured)]
    else:
        every = [
            *_loaded(circuit, measured),
            *_key_off(circuit),
            *_unloaded(circuit, measured),
            *_ohms(circuit),
            *(replace(m, value=math.nan, error=None) for m in measured if m.quantity != "lamp"),
        ]
    every = [said(circuit, m) for m in every]
    found = {_key(circuit, m): m for m in reversed(every)}  # of those that are the same by another name, the first
    taken = [_key(circuit, m) for m in measured]
    return [m for key, m in reversed(found.items()) if taken.count(key) < MOST_LOOKS[tool]]


def same_reading(circuit: Circuit, one: Measurement, other: Measurement) -> bool:
    """Tell whether two measurements are the same, by whichever names, with the same lead on the same place."""
    turned = one.at == other.to != one.to
    return not turned and _key(circuit, one) == _key(circuit, other)


def useful_states(circuit: Circuit, measured: Sequence[Measurement]) -> list[str]:
    """The states to measure in: key-on where the circuit is on in it; cranking where it was measured in or where a
    command may come only then; running only where neither is, or where the engine has run already. Readings that were
    all taken while cranking are of a circuit that is on only then."""
    live = {m.state for m in measured} & set(circuit.active)
    if live == {"crank"}:
        return ["crank"]
    cranks = "crank" in circuit.active and (bool(circuit.commands) or "crank" in live)
    states = [next((s for s in ("key_on", "prime") if s in circuit.active), ""), "crank" if cranks else ""]
    if "run" in circuit.active and ("run" in live or not any(states)):
        states.append("run")
    return [s for s in states if s]


def _key(circuit: Circuit, m: Measurement) -> tuple[str, frozenset[str | int], str, str]:
    """The key that two equal measurements share: a drop is a voltage, and a place may have two names."""
    quantity = "voltage" if m.quantity == "voltage_drop" else m.quantity
    alone = quantity == "current" or m.at in circuit.commands
    ends: frozenset[str | int] = frozenset({m.at} if alone else circuit.ends(m.at, m.to))
    return quantity, ends, "key_on" if m.state == "prime" else m.state, m.load + half(circuit, m) + m.unplugged


def _loaded(circuit: Circuit, measured: Sequence[Measurement]) -> Iterable[Measurement]:
    plug = circuit.faces
    reference = circuit.node(BATTERY_MINUS)
    at_node = points_by_node(circuit)
    for state in useful_states(circuit, measured):
        for point in circuit.points:
            if circuit.node(point.id) != reference:
                yield Measurement("voltage", point.id, state=state)
        yield Measurement("voltage", *_ends_of_load(circuit), state=state)
        for k in range(1, len(circuit.parts)):
            before, after = circuit.across(k)
            if before in at_node and after in at_node and k not in circuit.loads:
                yield Measurement("voltage_drop", at_node[before], at_node[after], state=state)
        if plug:
            yield Measurement("voltage", *plug, state=state)
        if state != "crank":
            yield from _in_series(circuit, state)
        for command in circuit.commands:
            yield Measurement("voltage", command, state=state, at_coil=True)


def _in_series(circuit: Circuit, state: str) -> Iterable[Measurement]:
    """The current in the fuse's place, where a meter carries all that flows there."""
    if circuit.fuse is not None and circuit.carried_a[circuit.fuse] < MOST_IN_SERIES_A:
        yield Measurement("current", circuit.parts[circuit.fuse].id, state=state)


def _by_lamp(circuit: Circuit, measured: Sequence[Measurement]) -> Iterable[Measurement]:
    """A lamp from each point to the battery's other post, across whatever may lose voltage (where it glows), across
    commands, and in the load's place."""
    plug, at_node = circuit.faces, points_by_node(circuit)
    plus = at_node.get(0, circuit.parts[0].id)
    for state in useful_states(circuit, measured):
        for point in circuit.points:
            node = circuit.node(point.id)
            to = BATTERY_MINUS if circuit.on_feed_side[node] else plus
            yield Measurement("lamp", point.id, to, state)
            if not circuit.on_feed_side[node] and node != circuit.node(BATTERY_MINUS):
                yield Measurement("lamp", point.id, BATTERY_MINUS, state)
        for k in range(1, len(circuit.parts)):
            before, after = circuit.across(k)
            if before in at_node and after in at_node and k not in circuit.loads:
                yield Measurement("lamp", at_node[before], at_node[after], state)
        for command in circuit.commands:
            yield Measurement("lamp", command, state=state, at_coil=True)
        if plug and set(circuit.active) != {"run"}:
            yield Measurement("lamp", *plug, state, "unplugged")


def _key_off(circuit: Circuit) -> Iterable[Measurement]:
    """Volts and amperes with the key off: a contact that never opens, a feed from elsewhere; and each coil running."""
    if "off" in circuit.active or not circuit.commands:
        return
    at_node = points_by_node(circuit)
    yield from _in_series(circuit, "off")
    for command, k in circuit.commands.items():
        before, after = circuit.across(k)
        if after in at_node:
            yield Measurement("voltage", at_node[after], state="off")
        if before in at_node and after in at_node:
            yield Measurement("resistance", at_node[before], at_node[after], "isolated")
        if {"key_on", "run"} <= set(circuit.active):
            yield Measurement("voltage", command, state="run", at_coil=True)


def _unloaded(circuit: Circuit, measured: Sequence[Measurement]) -> Iterable[Measurement]:
    plug = circuit.faces
    if not plug or set(circuit.active) == {"run"}:
        return  # never open a charging circuit while it charges: its voltage has nowhere to go
    for state in useful_states(circuit, measured):
        for load in ("unplugged", "lamp"):
            yield Measurement("voltage", plug[0], state=state, load=load)
            yield Measurement("voltage", *plug, state=state, load=load)


def _ohms(circuit: Circuit) -> Iterable[Measurement]:
    """Ohms of single stretches: neighbours on one side of the load, the load unplugged, the feed against ground, before
    the contact and behind it."""
    order = sorted(circuit.points, key=lambda point: circuit.order[circuit.node(point.id)])
    contacts = set(circuit.commands.values())
    at_node = points_by_node(circuit)
    for a, b in pairwise(order):
        inside = circuit.between(circuit.node(a.id), circuit.node(b.id))
        if not set(circuit.loads) & set(inside) and not contacts & set(inside):
            yield Measurement("resistance", a.id, b.id, "isolated")
    for contact in contacts:
        fuse = next((k for k in reversed(circuit.upstream[contact]) if circuit.parts[k].kind == "fuse"), -1)
        if fuse in at_node:
            yield Measurement("resistance", at_node[fuse], BATTERY_MINUS, "isolated")
    plug = circuit.faces
    if plug:
        yield Measurement("resistance", *plug, "isolated", "unplugged")
        grounds = [k for k in circuit.chain if circuit.parts[k].kind == "ground"]
        body = next((p.id for p in order if circuit.node(p.id) in grounds), BATTERY_MINUS)
        for to in (body, BATTERY_MINUS):
            if to != plug[1]:
                yield Measurement("resistance", plug[1], to, "isolated")
        yield Measurement("resistance", plug[0], BATTERY_MINUS, "isolated", "unplugged")
    for load in circuit.loads[1:]:
        yield from _branch_ohms(circuit, load)
    for k, part in enumerate(circuit.parts):
        if part.leaks_to and circuit.before[k] in at_node:
            yield Measurement("resistance", at_node[circuit.before[k]], part.leaks_to, "isolated", "unplugged")


def _branch_ohms(circuit: Circuit, load: int) -> Iterable[Measurement]:
    """Ohms of a branch's load, unplugged; and of its feed against ground, where only a short leads there then."""
    plug, out = circuit.faces_of(load), circuit.parts[load].id
    if plug:
        yield Measurement("resistance", *plug, "isolated", unplugged=out)
        yield Measurement("resistance", plug[0], BATTERY_MINUS, "isolated", "unplugged", unplugged=out)


def points_by_node(circuit: Circuit) -> dict[int, str]:
    """The point at each node that has one."""
    return {circuit.node(point.id): point.id for point in circuit.points}


def _ends_of_load(circuit: Circuit) -> tuple[str, str]:
    at_node = points_by_node(circuit)
    ends = [at_node.get(node) for node in circuit.across(circuit.load)]
    load = circuit.parts[circuit.load].id
    return (ends[0], ends[1]) if ends[0] and ends[1] else (load, load)
