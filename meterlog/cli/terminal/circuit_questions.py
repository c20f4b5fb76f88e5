"""The questions of `meterlog circuit new`: the parts in their order, one after the other."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from meterlog.cautions import NEAR
from meterlog.circuit.model.chain_text import part_words
from meterlog.circuit.model.circuit import Circuit
from meterlog.circuit.model.conductor import copper_ohm, typed_gauge_mm2
from meterlog.circuit.model.dangerous_names import refuse_dangerous
from meterlog.circuit.model.part import KINDS, STATES, Part, Point, near
from meterlog.errors import CircuitError, UsageError
from meterlog.text.figures import shown
from meterlog.text.safe import one_line
from meterlog.text.typed import typed_number

Ask = Callable[[str], str]

_KIND_OF = {kind: kind for kind in KINDS} | {
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
class NewCircuit:
    """Holds what was answered so far."""

    name: str = "circuit"
    system_v: float = 12.0
    active: tuple[str, ...] = Circuit.active
    near: tuple[str, ...] | None = None
    parts: list[Part] = field(default_factory=list)
    points: list[Point] = field(default_factory=list)

    def circuit(self) -> Circuit:
        """The circuit as it stands; whether it can be used is found out when it is written."""
        return Circuit(self.name, self.system_v, tuple(self.parts), tuple(self.points), self.active, self.near)


def ask_circuit(new: NewCircuit, ask: Ask, say: Callable[[str], None]) -> None:
    """Ask for a circuit; what was answered stands in `new`, also where the answers end early.

    Raises:
        EOFError: the answers ended.
    """
    new.name = _name(new, ask, say, "What is it called (pump feed, horn, ...)", "circuit")
    new.system_v = _number(ask, say, "System voltage, V", 12.0)
    new.active = (
        _words(ask, say, f"On when ({', '.join(STATES[:-1])}) [{', '.join(Circuit.active)}]", STATES[:-1])
        or Circuit.active
    )
    new.near = _words(ask, say, f"What is all of it near ({', '.join(NEAR)}; none) [nobody knows]", (*NEAR, "none"))
    if new.near:
        new.near = tuple(word for word in new.near if word != "none")
    say("Now the parts in the order the current flows, battery + first. Enter ends the list, 'undo' takes one back.")
    new.parts.append(Part("battery", "battery", access_min=1.0))
    new.points.append(Point("battery_plus", "battery", 1.0))
    while (word := _word_of_part(new, ask, say)) is not None:
        if word == "undo":
            _take_back(new, say)
            continue
        _add(new, word, ask, say)


def _add(new: NewCircuit, word: str, ask: Ask, say: Callable[[str], None]) -> None:
    kind = _KIND_OF[word]
    name = _name(new, ask, say, "  its name", _free(new, word.removesuffix("_contact")))
    row: dict[str, object] = {}
    if kind == "relay_contact":
        row["command"] = _name(new, ask, say, "  its coil's name", f"{name}_coil")
    if kind == "fuse":
        row["rating_a"] = _optional(ask, say, "  printed on it, A")
    if kind in _LOADS:
        row["current_a"] = _optional(ask, say, "  it draws, A")
        row["resistance_ohm"] = _optional(ask, say, "  its winding or filament, ohm")
    if kind == "resistor":
        row["resistance_ohm"] = _number(ask, say, "  its resistance, ohm", 1.0)
        row["by_design"] = True
    if kind == "wire":
        row |= _wire(ask, say)
    if kind in ("connector", "relay_contact", "switch"):
        row["pins"] = ask("  pins or terminals (30-87, pin 3): ").strip()
    minutes = _number(ask, say, "  minutes to reach it", 5.0)
    given = {key: value for key, value in row.items() if value is not None}
    part = Part(name, kind, access_min=minutes, **given)  # type: ignore[arg-type]
    new.parts.append(part)
    say(f"  {name}: {part_words(part)}")
    if ask("  can a probe reach behind it? (yes, no) [yes]: ").strip().casefold() not in ("n", "no"):
        new.points.append(Point(_free(new, f"{name}_out"), name, minutes))


def _wire(ask: Ask, say: Callable[[str], None]) -> dict[str, object]:
    colour = ask("  its colour: ").strip()
    while (answer := ask("  its cross-section (1.5 mm2, 16 AWG): ").strip()) and typed_gauge_mm2(answer) is None:
        say(f"  '{one_line(answer)}' is not a cross-section: write 1.5, 0.75 mm2 or 16 AWG, or press Enter")
    gauge = round(typed_gauge_mm2(answer) or 0.0, 3) or None
    length = _optional(ask, say, "  its length, m") if gauge else None
    if gauge and length:
        say(f"  copper: {shown(copper_ohm(length, gauge), 'ohm')}")
    return {"colour": colour, "gauge_mm2": gauge, "length_m": length}


def _word_of_part(new: NewCircuit, ask: Ask, say: Callable[[str], None]) -> str | None:
    """The next part as it was called, `undo`, or None at the end of the list."""
    while True:
        answer = ask(f"Part {len(new.parts) + 1} ({_KINDS_ASKED}): ").strip().casefold().replace(" ", "_")
        if not answer:
            return None
        if answer == "undo" or answer in _KIND_OF:
            return answer
        say(f"  '{one_line(answer)}' is not a kind of part{near(answer, _KIND_OF)}")


def _take_back(new: NewCircuit, say: Callable[[str], None]) -> None:
    if len(new.parts) == 1:
        say("  nothing to take back")
        return
    gone = new.parts.pop()
    new.points = [point for point in new.points if point.after != gone.id]
    say(f"  '{gone.id}' is taken back")


def _name(new: NewCircuit, ask: Ask, say: Callable[[str], None], question: str, default: str) -> str:
    while True:
        answer = ask(f"{question} [{default}]: ").strip() or default
        try:
            refuse_dangerous(answer, "no:")
        except CircuitError as error:
            say(f"  {one_line(str(error))}")
            continue
        if answer not in new.circuit().ids():
            return answer
        say(f"  '{one_line(answer)}' is used already")


def _free(new: NewCircuit, name: str) -> str:
    ids = new.circuit().ids()
    return next(one for one in (name, *(f"{name}_{k}" for k in range(2, 99))) if one not in ids)


def _words(ask: Ask, say: Callable[[str], None], question: str, known: tuple[str, ...]) -> tuple[str, ...] | None:
    while True:
        answer = [word.strip().casefold() for word in ask(f"{question}: ").split(",") if word.strip()]
        wrong = [word for word in answer if word not in known]
        if not wrong:
            return tuple(dict.fromkeys(answer)) or None
        say(f"  '{one_line(wrong[0])}' is not one of them{near(wrong[0], known)}")


def _optional(ask: Ask, say: Callable[[str], None], question: str) -> float | None:
    while answer := ask(f"{question}: ").strip():
        try:
            return typed_number(answer)
        except UsageError as error:
            say(f"  {one_line(str(error))}; press Enter where nobody knows")
    return None


def _number(ask: Ask, say: Callable[[str], None], question: str, default: float) -> float:
    value = _optional(ask, say, f"{question} [{default:g}]")
    return default if value is None else value
