"""Says how a measurement is taken, in words that a person under a vehicle can follow: dial, red, black, key, plugs."""

from __future__ import annotations

from dataclasses import dataclass

from meterlog.circuit.model.circuit import Circuit
from meterlog.circuit.model.part import BATTERY_MINUS, Part, Point
from meterlog.circuit.readings.halves import half as half_of
from meterlog.circuit.readings.measurement import Measurement
from meterlog.circuit.readings.unplugged import loads_out
from meterlog.text.ids import plain

_DIAL = {
    "voltage": "volts DC",
    "voltage_drop": "volts DC",
    "current": "amperes DC, or a clamp",
    "resistance": "ohms",
    "lamp": "no meter: a test lamp",
}
_KEY = {
    "off": "key off",
    "key_on": "key on, do not start",
    "prime": "key on, and read in the first two seconds",
    "crank": "key to start, and read while it cranks",
    "run": "engine running",
    "isolated": "key off",
}


@dataclass(frozen=True, slots=True)
class Instruction:
    """Says how to take one measurement.

    Attributes:
        dial: what the meter's dial points to.
        red: where the red lead goes.
        black: where the black lead goes.
        key: what the key does.
        unplug: what is taken apart beforehand; empty for nothing.
        words: all of it in sentences of its own; empty where `text` is to be made of the rest.
    """

    dial: str
    red: str
    black: str
    key: str
    unplug: str
    words: str = ""

    @property
    def text(self) -> str:
        """All of it in one sentence."""
        if self.words:
            return self.words
        return _sentence(self.unplug, f"dial on {self.dial}", f"red {self.red}", f"black {self.black}", self.key)


def instruction(circuit: Circuit, m: Measurement) -> Instruction:
    """Return how a measurement is taken; its value does not matter."""
    red, black = _leads(circuit, m)
    unplug, key = _unplug(circuit, m), _KEY[m.state]
    words = _sentence(unplug, f"hold a test lamp's tip {red}, its clip {black}", key) if m.quantity == "lamp" else ""
    return Instruction(_DIAL[m.quantity], red, black, key, unplug, words)


def _sentence(*steps: str) -> str:
    words = "; ".join(step for step in steps if step)
    return f"{words[:1].upper()}{words[1:]}."


def _leads(circuit: Circuit, m: Measurement) -> tuple[str, str]:
    if m.quantity == "current":
        return _in_series(circuit, m.at)
    if m.at_coil or m.at in circuit.commands:
        part = circuit.parts[circuit.commands[m.at]]
        return f"on one coil terminal of {thing_words(part)}", "on its other coil terminal"
    if m.to == m.at and m.at in circuit.part_index:
        part = circuit.parts[circuit.part_index[m.at]]
        return f"on {thing_words(part)}, the side towards battery +", f"on {thing_words(part)}, the other side"
    return _at(circuit, m.at), _at(circuit, m.to)


def _in_series(circuit: Circuit, at: str) -> tuple[str, str]:
    part = circuit.parts[circuit.part_index[at]] if at in circuit.part_index else None
    if part is not None and part.kind in ("fuse", "relay_contact", "switch"):
        side = f"in the place of {thing_words(part)}, the side towards battery +"
        return f"in the 10 A jack, {side} (or a clamp round its wire)", "in the place of its other side"
    where = thing_words(part) if part else place_words(circuit, at)
    return f"clamp round the wire at {where}, its arrow away from battery +", "in COM, as the clamp says"


def _at(circuit: Circuit, id_: str) -> str:
    return f"on {place_words(circuit, id_)}"


def key_words(state: str) -> str:
    """Return what the key does in a state."""
    return _KEY[state]


def place_words(circuit: Circuit, id_: str) -> str:
    """A place in words: `fuse out (behind fuse)`, `battery minus`."""
    if id_ == BATTERY_MINUS and id_ not in circuit.point_of:
        return "battery minus"
    if id_ in circuit.point_of:
        point = circuit.point_of[id_]
        return plain(id_) if point.after == circuit.parts[0].id else thing_words(point, f"behind {plain(point.after)}")
    if id_ in circuit.part_index:
        return f"{thing_words(circuit.parts[circuit.part_index[id_]])}, the side away from battery +"
    return plain(id_)


def thing_words(thing: Part | Point, also: str = "") -> str:
    """A part or point with what finds it in the vehicle: `relay (30-87)`, `feed wire (violet)`."""
    connector = f"connector {thing.connector}" if thing.connector else ""
    marks = [mark for mark in (also, thing.colour, connector, thing.pins) if mark]
    return f"{plain(thing.id)} ({', '.join(marks)})" if marks else plain(thing.id)


def _unplug(circuit: Circuit, m: Measurement) -> str:
    out = loads_out(circuit, m)
    if not out:
        return "" if m.state != "isolated" else "key off, and take one side of what is measured off the circuit"
    plugs = " and ".join(thing_words(circuit.parts[k]) for load in out for k in circuit.plug_of(load))
    if m.load == "lamp":
        return f"unplug {plugs} and put a test lamp between the two leads, in the load's place"
    half = half_of(circuit, m).replace("load", "load's")
    where = f", and measure on the {half} half" if half else ""
    return f"unplug {plugs}{where}"
