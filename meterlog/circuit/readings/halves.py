"""Tells which half of an unplugged connector a reading was taken on: said, or what is usual."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from meterlog.circuit.model.circuit import Circuit
from meterlog.circuit.readings.measurement import SIDES, Measurement
from meterlog.circuit.readings.unplugged import loads_out


def half(circuit: Circuit, m: Measurement) -> str:
    """Return the half that a reading is taken to be of; empty where its place does not depend on it.

    Where nobody said: ohms from one contact to the other are of the load, all else is of the harness.
    """
    if m.load == "lamp" or not _at_plug(circuit, m):
        return ""
    return m.side or (SIDES[1] if m.quantity == "resistance" and load_between(circuit, m) is not None else SIDES[0])


def said(circuit: Circuit, m: Measurement) -> Measurement:
    """Return the reading with its half said, where that matters."""
    return replace(m, side=half(circuit, m))


def other(circuit: Circuit, m: Measurement) -> Measurement | None:
    """Return the same reading on the other half; None where the half was said, or does not matter."""
    usual = half(circuit, m)
    if m.side or not usual:
        return None
    return replace(m, side=SIDES[1 - SIDES.index(usual)])


def unsaid(circuit: Circuit, measured: Iterable[Measurement]) -> list[str]:
    """Return a sentence for each reading whose half nobody said, with what it was taken to be."""
    return [
        f'{m}: say which half of the connector it was, side = "{SIDES[0]}" or "{SIDES[1]}"; it is taken as the'
        f" {half(circuit, m)} side, and the other one is held possible"
        for m in measured
        if other(circuit, m) is not None
    ]


def load_between(circuit: Circuit, m: Measurement) -> int | None:
    """Return the unplugged load from whose one contact to whose other one something is read; None for none."""
    ends = {circuit.node(m.at), circuit.node(m.to)}
    return next((load for load in loads_out(circuit, m) if ends == set(circuit.apart_at(load))), None)


def _at_plug(circuit: Circuit, m: Measurement) -> bool:
    edges = {node for load in loads_out(circuit, m) for node in circuit.apart_at(load)}
    return m.at not in circuit.commands and any(
        circuit.node(id_) in edges for id_ in (m.at, m.to) if id_ not in circuit.commands
    )
