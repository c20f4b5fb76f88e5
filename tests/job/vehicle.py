"""A vehicle that answers what a job asks: textbook nodal analysis of the chain, none of the product's solver."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Literal

import numpy as np

from meterlog.circuit.model.circuit import Circuit

GOOD_OHM = {"battery": 0.012, "wire": 0.02, "fuse": 0.005, "relay_contact": 0.006, "switch": 0.01}
OPEN_OHM, METER_OHM, LAMP_OHM, COIL_V = 1e9, 10e6, 29.0, 12.2

WORKS: tuple[dict[str, Any], ...] = (
    {"quantity": "voltage", "at": "pump_plus", "to": "pump_minus", "state": "key_on", "value": 12.1},
    {"quantity": "voltage", "at": "pump_plus", "to": "pump_minus", "state": "crank", "value": 10.2},
    {"quantity": "current", "at": "fuse", "to": "battery_minus", "state": "key_on", "value": 5.0},
    {"quantity": "voltage_drop", "at": "fuse_out", "to": "relay_out", "state": "key_on", "value": 0.02},
    {"quantity": "voltage", "at": "relay_out", "to": "battery_minus", "state": "off", "value": 0.0},
)
"""Readings of a pump's circuit that clear it, load connected."""

FUSE_BLOWN: tuple[tuple[Literal["measured"], dict[str, Any]], ...] = tuple(
    ("measured", {"quantity": "voltage", "at": at, "to": to, "state": "key_on", "value": volts})
    for at, to, volts in (
        ("fuse_in", "battery_minus", 12.4),
        ("fuse_out", "battery_minus", 0.0),
        ("fuse_in", "fuse_out", 12.4),
    )
)
"""Steps of a job after which a new fuse is what comes next."""


@dataclass
class Vehicle:
    """A chain with faults.

    Attributes:
        circuit: its chain.
        extra_ohm: added to a part; inf opens it.
        commanded: whether what closes the relay comes.
    """

    circuit: Circuit
    extra_ohm: dict[str, float] = field(default_factory=dict)
    commanded: bool = True
    source_v: float = 12.4
    crank_v: float = 10.4

    def read(self, asked: Mapping[str, Any]) -> str:
        """Return what the meter shows where `job status` asks for a reading, as a person types it."""
        circuit, quantity = self.circuit, asked["quantity"]
        on = asked["state"] in circuit.active
        if asked["at"] in circuit.commands and quantity == "lamp":
            return "bright" if on and self.commanded else "dark"
        if asked["at"] in circuit.commands:
            return f"{COIL_V if on and self.commanded else 0.0:.2f}"
        a, b = self._nodes(asked["at"], asked["to"])
        if quantity == "resistance":
            ohm = self._between(a, b, asked["load"])
            return "open" if ohm > 4e7 else f"{ohm + 0.2:.3g}"
        crank = asked["state"] == "crank"
        if quantity == "lamp":
            volts, _ = self._solved(a, b, on=on, crank=crank, load=asked["load"], between=LAMP_OHM)
            share = abs(volts) / circuit.system_v
            return "bright" if share > 0.85 else "dim" if share > 0.4 else "glowing" if share > 0.15 else "dark"
        volts, ampere = self._solved(a, b, on=on, crank=crank, load=asked["load"])
        return f"{ampere:.2f}" if quantity == "current" else f"{volts:.2f}"

    def came_of(self, tried: Mapping[str, str]) -> str:
        """Return what comes of what `job status` asks to be tried, as a person types it."""
        if "observed" in tried:
            return {"fuse_rating": "right", "moves_with_harness": "no"}[tried["observed"]]
        if "compared" in tried:
            return "differs" if self.extra_ohm.get(tried["compared"], 0.0) else "alike"
        if "into" in tried:
            node = self.circuit.node(tried["into"])
            return self._runs(dict.fromkeys((part.id for part in self.circuit.parts[1 : node + 1]), 0.0), closed=True)
        part = tried.get("bridged", tried.get("replaced", ""))
        return self._runs({part: 0.1 if "bridged" in tried else 0.0}, closed="bridged" in tried)

    def _runs(self, extra_ohm: dict[str, float], *, closed: bool = False) -> str:
        """Tell whether the load runs with some parts made otherwise; a feed or a bridge passes the contact."""
        circuit = self.circuit
        changed = replace(self, extra_ohm=self.extra_ohm | extra_ohm, commanded=self.commanded or closed)
        _, ampere = changed._solved(circuit.load - 1, circuit.load, on=True, crank=False, load="connected")
        return "runs" if ampere > circuit.load_a / 2 else "dead"

    def _nodes(self, at: str, to: str | None) -> tuple[int, int]:
        circuit = self.circuit
        if to in (None, at) and at in circuit.part_index:
            k = circuit.part_index[at]
            return k - 1, k
        return circuit.node(at), circuit.node(to or "battery_minus")

    def _ohm(self, load: str, *, on: bool) -> list[float]:
        found = []
        for k, part in enumerate(self.circuit.parts):
            ohm = self.circuit.winding_ohm if k == self.circuit.load else GOOD_OHM.get(part.kind, 0.005)
            if k == self.circuit.load and load != "isolated":
                ohm = self.circuit.system_v / self.circuit.load_a
            ohm += min(self.extra_ohm.get(part.id, 0.0), OPEN_OHM)
            closed = not part.command or (on and self.commanded)
            if not closed or (load in ("unplugged", "lamp") and k in self.circuit.plug):
                ohm = OPEN_OHM
            found.append(ohm)
        return found

    def _solved(
        self, a: int, b: int, *, on: bool, crank: bool, load: str, between: float = METER_OHM
    ) -> tuple[float, float]:
        ohm = self._ohm(load, on=on)
        count, source_v = len(ohm), self.crank_v if crank else self.source_v
        net = np.zeros((count, count))
        flow = np.zeros(count)
        links = [(k - 1, k, ohm[k]) for k in range(1, count)] + [(a, b, LAMP_OHM if load == "lamp" else between)]
        links += [(count - 1, 0, ohm[0])]
        flow[0] += source_v / ohm[0]
        flow[count - 1] -= source_v / ohm[0]
        for one, other, part_ohm in links:
            net[one, one] += 1 / part_ohm
            net[other, other] += 1 / part_ohm
            net[one, other] -= 1 / part_ohm
            net[other, one] -= 1 / part_ohm
        net[-1], flow[-1] = np.eye(count)[-1], 0.0
        volts = np.linalg.solve(net, flow)
        load_k = self.circuit.load
        return float(volts[a] - volts[b]), float((volts[load_k - 1] - volts[load_k]) / ohm[load_k])

    def _between(self, a: int, b: int, load: str) -> float:
        """Ohms along the chain; from one contact of the load's unplugged connector to the other they are the load's."""
        ohm = self._ohm("isolated", on=False)
        low, high = sorted((a, b))
        plug = self.circuit.plug if load == "unplugged" else ()
        if plug and (low, high) == (plug[0] - 1, plug[-1]):
            return ohm[self.circuit.load]
        return math.fsum(OPEN_OHM if k in plug else ohm[k] for k in range(low + 1, high + 1))
