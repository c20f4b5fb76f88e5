"""The questions of `meterlog circuit new`: the parts in their order, then what hangs beside them."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from meterlog.cautions import NEAR
from meterlog.circuit.model.chain_text import part_words
from meterlog.circuit.model.circuit import Circuit
from meterlog.circuit.model.circuit_checks import LEAST_V, MOST_V
from meterlog.circuit.model.conductor import copper_ohm, typed_gauge_mm2
from meterlog.circuit.model.loops import Branch
from meterlog.circuit.model.part import BATTERY_MINUS, KINDS, STATES, Part, Point, near
from meterlog.circuit.model.part_rows import part_from_row
from meterlog.cli.terminal.asking import Asking
from meterlog.cli.terminal.wet_questions import ask_wet
from meterlog.errors import CircuitError
from meterlog.text.figures import shown
from meterlog.text.ids import plain
from meterlog.text.safe import one_line

_KIND_OF = {kind: kind for kind in KINDS if kind != "battery"} | {
    "relay": "relay_contact",
    "plug": "connector",
    "pin": "connector",
    "clamp": "connector",
    "link": "fuse",
    "cable": "wire",
    "pump": "motor",
    "fan": "motor",
    "starter": "motor",
    "lamp": "load",
    "horn": "load",
    "heater": "load",
    "bolt": "ground",
    "body": "ground",
}
"""Says what people call a part, and its kind."""
_LOADS = ("motor", "load")
_KINDS_ASKED = "fuse, relay, switch, wire, connector, motor, load, resistor, ground"


@dataclass
class NewBranch:
    """Holds what was answered so far about a branch."""

    id: str
    after: str
    to: str = ""
    parts: list[Part] = field(default_factory=list)


@dataclass
class NewCircuit:
    """Holds what was answered so far."""

    name: str = "circuit"
    system_v: float = 12.0
    active: tuple[str, ...] = Circuit.active
    near: tuple[str, ...] | None = None
    parts: list[Part] = field(default_factory=list)
    points: list[Point] = field(default_factory=list)
    branches: list[NewBranch] = field(default_factory=list)

    def circuit(self) -> Circuit:
        """The circuit as it stands; whether it can be used is found out when it is written."""
        beside = [one for one in self.branches if one.parts]
        parts = (*self.parts, *(part for one in beside for part in one.parts))
        branches = tuple(
            Branch(one.id, one.after, one.to or self.parts[-1].id, tuple(part.id for part in one.parts))
            for one in beside
        )
        return Circuit(self.name, self.system_v, parts, tuple(self.points), self.active, self.near, branches)

    def taken(self) -> list[str]:
        """The names that are used."""
        return [*self.circuit().ids(), *(one.id for one in self.branches)]

    def free(self, name: str) -> str:
        """A name, with a number behind it where it is used already."""
        taken = self.taken()
        return next(one for one in (name, *(f"{name}_{k}" for k in range(2, 99))) if one not in taken)


def ask_circuit(new: NewCircuit, asking: Asking) -> None:
    """Ask for a circuit; what was answered stands in `new`, also where the answers end early.

    Raises:
        EOFError: the answers ended.
    """
    new.name = asking.name("What is it called (pump feed, horn, ...)", "circuit", new.taken())
    while not LEAST_V <= (volts := asking.number("System voltage, V", 12.0)) <= MOST_V:
        asking.say(f"  it is a number from {LEAST_V:g} to {MOST_V:g} V; what is above is out of scope")
    new.system_v = volts
    on = f"On when ({_listed(STATES[:-1])}) [{_listed(Circuit.active)}]"
    new.active = asking.several(on, STATES[:-1]) or Circuit.active
    new.near = asking.several(f"What is all of it near ({', '.join(NEAR)}; none) [nobody knows]", (*NEAR, "none"))
    if new.near:
        new.near = tuple(word for word in new.near if word != "none")
    asking.say(
        "Now the parts in the order the current flows, from battery + through what does not work and back to battery -:"
        " Enter ends the list, 'undo' takes one back."
    )
    new.parts.append(Part("battery", "battery", access_min=1.0))
    new.points.append(Point("battery_plus", "battery", 1.0))
    _ask_parts(new, new.parts, asking)
    asking.say(
        "Now what else hangs on it, one after the other: another load on the same fuse, wire or ground, or a way past a"
        " part. Enter where there is nothing."
    )
    while name := asking.name("Beside it (heater, right side, start bypass, ...)", "", new.taken()):
        _ask_branch(new, name, asking)
    wet = ask_wet(new.circuit(), asking)
    for parts in (new.parts, *(one.parts for one in new.branches)):
        parts[:] = [replace(part, leaks_to=wet.get(part.id, "")) for part in parts]


def _ask_parts(new: NewCircuit, parts: list[Part], asking: Asking) -> None:
    """Ask for parts in series until Enter; the battery is never taken back."""
    while (word := _word_of_part(len(parts) + 1, asking)) is not None:
        if word != "undo":
            _add(new, parts, word, asking)
        elif not parts or parts[-1].kind == "battery":
            asking.say("  nothing to take back")
        else:
            gone = parts.pop()
            new.points = [point for point in new.points if point.after != gone.id]
            asking.say(f"  '{gone.id}' is taken back")


def _ask_branch(new: NewCircuit, name: str, asking: Asking) -> None:
    """Ask where a branch leaves, for its parts, and where it joins again."""
    known = [part.id for part in new.circuit().parts]
    fuse = next((part.id for part in new.parts[::-1] if part.kind == "fuse"), new.parts[0].id)
    after = asking.one_of("  its feed leaves behind which part (battery for a feed of its own)", known, fuse)
    branch = NewBranch(name, after)
    new.branches.append(branch)
    asking.say("  Its parts in the order the current flows; Enter where it comes back to a ground, or to the chain.")
    _ask_parts(new, branch.parts, asking)
    if not branch.parts:
        new.branches.remove(branch)
        asking.say(f"  '{one_line(name)}' has no parts and is left out")
        return
    branch.to = _joins(new, branch, known[1:], asking)
    _drop_same_place(new, branch, asking)


def _joins(new: NewCircuit, branch: NewBranch, known: list[str], asking: Asking) -> str:
    """The part behind which a branch joins again; empty for battery minus."""
    question = "  it joins again in front of which part (the ground that both share; Enter: a ground of its own)"
    circuit = new.circuit()
    while (front := asking.one_of(question, [*known, BATTERY_MINUS], BATTERY_MINUS)) != BATTERY_MINUS:
        to = circuit.parts[circuit.before[circuit.part_index[front]]].id
        if to != branch.after:
            return to
        asking.say(f"  it leaves in front of '{one_line(front)}' too: nothing would flow in it")
    return ""


def _drop_same_place(new: NewCircuit, branch: NewBranch, asking: Asking) -> None:
    """Take out the point behind a branch's last part where the chain has one there."""
    circuit = new.circuit()
    there = [point for point in new.points if circuit.node(point.id) == circuit.node(branch.parts[-1].id)]
    if len(there) > 1 and there[-1].after == branch.parts[-1].id:
        new.points.remove(there[-1])
        asking.say(f"  '{one_line(there[-1].id)}' is the same place as '{one_line(there[0].id)}': that name is kept")


def _add(new: NewCircuit, parts: list[Part], word: str, asking: Asking) -> None:
    kind = _KIND_OF[word]
    name = asking.name("  its name", new.free(word.removesuffix("_contact")), new.taken())
    row: dict[str, object] = {}
    if kind == "relay_contact":
        row["command"] = asking.name("  its coil's name", new.free(f"{name}_coil"), [*new.taken(), name])
    if kind == "switch" and len(new.active) > 1:
        row["closed_in"] = _positions(new, asking)
    if kind == "fuse":
        row["rating_a"] = asking.optional("  printed on it, A")
    if kind in _LOADS:
        row["current_a"] = asking.optional("  it draws, A")
        row["resistance_ohm"] = asking.optional("  its winding or filament, ohm")
    if kind == "resistor":
        row["resistance_ohm"] = asking.number("  its resistance, ohm", 1.0)
        row["by_design"] = True
    if kind == "wire":
        row |= _wire(asking)
    if kind in ("connector", "relay_contact", "switch"):
        row["pins"] = asking.text("  pins or terminals (30-87, pin 3)")
    minutes = asking.number("  minutes to reach it", 5.0)
    given = {key: value for key, value in row.items() if value is not None}
    try:
        part = part_from_row({"id": name, "kind": kind, "access_min": minutes, **given}, len(parts) + 1, "no")
    except CircuitError as error:
        asking.say(f"  {one_line(str(error))}: enter this part again")
        return
    parts.append(part)
    asking.say(f"  {name}: {part_words(part)}")
    if asking.yes("  can a probe reach behind it?", usual=True):
        new.points.append(Point(new.free(f"{name}_out"), name, minutes))


def _positions(new: NewCircuit, asking: Asking) -> list[str] | None:
    """The positions of the key in which a switch is closed; None for all in which the circuit is on."""
    found = asking.several(
        f"  with the key where is it closed ({_listed(new.active)}; a START contact: crank) [all of these]", new.active
    )
    return None if found is None or set(found) == set(new.active) else list(found)


def _listed(states: tuple[str, ...]) -> str:
    return plain(", ".join(states))


def _wire(asking: Asking) -> dict[str, object]:
    colour = asking.text("  its colour")
    while (answer := asking.text("  its cross-section (1.5 mm2, 16 AWG)")) and typed_gauge_mm2(answer) is None:
        asking.say(f"  '{one_line(answer)}' is not a cross-section: write 1.5, 0.75 mm2 or 16 AWG, or press Enter")
    gauge = round(typed_gauge_mm2(answer) or 0.0, 3) or None
    length = asking.optional("  its length, m") if gauge else None
    if gauge and length:
        asking.say(f"  copper: {shown(copper_ohm(length, gauge), 'ohm')}")
    return {"colour": colour, "gauge_mm2": gauge, "length_m": length}


def _word_of_part(place: int, asking: Asking) -> str | None:
    """The next part as it was called, `undo`, or None at the end of the list."""
    while answer := asking.text(f"Part {place} ({_KINDS_ASKED})").casefold().replace(" ", "_"):
        if answer == "undo" or answer in _KIND_OF:
            return answer
        asking.say(f"  '{one_line(answer)}' is not a kind of part{near(answer, _KIND_OF)}")
    return None
