"""The trade's cautions, where a measurement calls for them. Sources: makers' service manuals and trade press."""

from __future__ import annotations

from meterlog.circuit.measured import Measurement
from meterlog.circuit.model import Circuit

DEFERS = "the vehicle's service information, local codes and licensed practice come first"

GENERAL = (
    "Leads left in the meter's current jack are a short across the battery.",
    "Never probe or load-test restraint (airbag) circuits.",
    "High-voltage cables of hybrid and electric vehicles are out of scope.",
)

JACK_A = 10.0
"""What a meter's current jack and its fuse typically take (makers' manuals)."""
_IN_SERIES = (
    "A clamp is safer; in series, use the 10 A jack and its fuse limit, and put the lead back afterwards: left in the"
    " current jack it shorts the battery, and a blown meter fuse looks like a dead load."
)
_CLAMP_ONLY = "With a clamp only: this circuit draws {:.0f} A, and a meter's current jack takes 10 A at the most."
_FUEL = "Fuel vapour: no lamp, spark or flame near an open tank; the rail keeps its pressure after switching off."


def caution(circuit: Circuit, m: Measurement) -> str:
    """What to mind while taking a measurement; empty where nothing special applies."""
    said: list[str] = []
    if m.quantity == "resistance":
        said.append(
            "Ohms only with the circuit de-energised and isolated (a foreign voltage falsifies or damages); null the"
            " leads; one surviving strand reads good on ohms; on an open, prove the probe's contact first."
        )
    if m.at in circuit.commands:
        said.append(
            "Across the coil's two terminals: many relays are switched on their ground side, and one terminal is live"
            " whatever the command does."
        )
    if m.quantity == "current":
        said.append(_IN_SERIES if circuit.load_a <= JACK_A else _CLAMP_ONLY.format(circuit.load_a))
    if m.load == "unplugged":
        said.append("An unplugged connector carries no load: full voltage there proves little.")
    if m.load == "lamp":
        said.append("The lamp draws current: only in this circuit, never near restraint circuits or on sensor wires.")
    if m.state == "crank":
        said.append(
            "The vehicle may move: room, brake, neutral; crank at most 15-30 s, then rest 2 min; leads clear of belts"
            " and fan."
        )
    if m.state == "run":
        said.append("Leads clear of belts and fan; brake on.")
    if m.quantity in ("voltage", "voltage_drop") and m.load == "connected" and _backprobed(circuit, m):
        said.append(
            "Back-probe without spreading terminals, not on sealed or micro connectors; a 0 V may be the probe: prove"
            " its contact."
        )
    if _about(circuit, m, "inertia"):
        said.append("Do not reset an inertia switch before a leak check.")
    if "pump" in circuit.name and _near_load(circuit, m):
        said.append(_FUEL)
    return " ".join(said)


def _backprobed(circuit: Circuit, m: Measurement) -> bool:
    nodes = {circuit.node(id_) for id_ in (m.at, m.to) if id_ not in circuit.commands}
    edges = {k for plug in circuit.plug for k in (plug - 1, plug)}
    return bool(nodes & edges)


def _near_load(circuit: Circuit, m: Measurement) -> bool:
    nodes = [circuit.node(id_) for id_ in (m.at, m.to) if id_ not in circuit.commands]
    return any(circuit.plug[0] - 1 <= node <= circuit.plug[-1] for node in nodes)


def _about(circuit: Circuit, m: Measurement, word: str) -> bool:
    ids = {m.at, m.to}
    for id_ in (m.at, m.to):
        if id_ in circuit.point_of:
            ids.add(circuit.point_of[id_].after)
    return any(word in id_ for id_ in ids)
