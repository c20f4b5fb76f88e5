"""Describes the pieces of a circuit: its parts, and the points that a probe can touch."""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from dataclasses import dataclass

KINDS = (
    "battery",
    "connector",
    "fuse",
    "switch",
    "relay_contact",
    "wire",
    "resistor",
    "motor",
    "load",
    "ground",
)
STATES = ("off", "key_on", "prime", "crank", "run", "isolated")
LOADS = ("connected", "unplugged", "lamp")
BATTERY_MINUS = "battery_minus"


@dataclass(frozen=True, slots=True)
class Part:
    """One part of the chain.

    Attributes:
        id: its name, used everywhere.
        kind: one of `KINDS`.
        resistance_ohm: what it has when good and at work (a motor: its winding); None where the kind's default applies.
        current_a: what a load draws at the system voltage when good; None where unknown.
        command: the id of what closes it; empty where nothing does.
        by_design: its loss is meant and never a fault.
        access_min: minutes to get at it.
        fault_rate: how often it fails, relative to the others; None for the kind's default.
        near: what it is near, out of `meterlog.cautions.NEAR`; None where nobody said.
        colour: of a wire, as the wiring diagram writes it.
        pins: the terminals or pins it sits between, as printed on it (`30-87`, `pin 3`).
        connector: the connector's name in the wiring diagram.
        gauge_mm2: a wire's cross-section, mm2.
        length_m: a wire's length, m.
        rating_a: what is printed on a fuse, A.
        closed_in: the states in which a contact is closed, of those in which the circuit is on (a key switch's START
            contact: `crank`); None for all of them.
        price: what a new one costs, in the person's own currency; None where nobody said.
        replace_min: minutes to replace it, once it is reached; None where nobody said.
        leaks_to: of a connector: the point that water in it leads to, another contact of the same housing mostly; empty
            where it stays dry.
    """

    id: str
    kind: str
    resistance_ohm: float | None = None
    current_a: float | None = None
    command: str = ""
    by_design: bool = False
    access_min: float = 5.0
    fault_rate: float | None = None
    near: tuple[str, ...] | None = None
    colour: str = ""
    pins: str = ""
    connector: str = ""
    gauge_mm2: float | None = None
    length_m: float | None = None
    rating_a: float | None = None
    closed_in: tuple[str, ...] | None = None
    price: float | None = None
    replace_min: float | None = None
    leaks_to: str = ""

    def closed(self, state: str) -> bool:
        """Tell whether it is closed in a state in which the circuit is on, once it is commanded."""
        return self.closed_in is None or state in self.closed_in


@dataclass(frozen=True, slots=True)
class Point:
    """A place where a probe can touch: the node after a part; `near`, `colour`, `pins` and `connector` as a part's."""

    id: str
    after: str
    access_min: float = 5.0
    near: tuple[str, ...] | None = None
    colour: str = ""
    pins: str = ""
    connector: str = ""


def near(word: str, known: Iterable[str]) -> str:
    """The nearest known words, to end a sentence with."""
    found = difflib.get_close_matches(word, list(known), 3, 0.5)
    return f" (near it: {', '.join(found)})" if found else f"; it has {', '.join(known)}"
