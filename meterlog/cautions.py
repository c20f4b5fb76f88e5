"""Says what to mind, one row a caution, and which of them apply to an act: for record, diagnose, report, page and demo.

A caution follows what is done and what that is near, never a name. Where nobody said what an act is near, or in which
state the vehicle is, every caution that depends on it applies.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from meterlog.reading import Quantity

Doing = Literal["begin", "record", "measure", "feed", "bridge", "replace"]
"""`begin`: start work on a circuit; `record`: leave a meter connected and watch; `feed`: put battery voltage on a
place; `bridge`: join a part's two ends."""

FUEL, RESTRAINT, GAS, MOVING = "fuel", "restraint", "battery gas", "moving parts"
HOT, HIGH_CURRENT, UNDER = "hot", "high current", "under the vehicle"
NEAR = (FUEL, RESTRAINT, GAS, MOVING, HOT, HIGH_CURRENT, UNDER)
"""The hazards that a circuit file can say a part, a point or the whole circuit is near."""

DEFERS = "the vehicle's service information, local codes and licensed practice come first"
"""Said once wherever cautions are."""

JACK_A = 10.0
"""The current that a meter's jack and its fuse typically take (makers' manuals), A."""


@dataclass(frozen=True, slots=True)
class Act:
    """Something that a person is about to do.

    Attributes:
        doing: what.
        quantity: what is measured; None where that is not known yet, or nothing is.
        state: of the vehicle, as in a circuit's readings (`key_on`, `crank`, ...); empty where it is not known.
        load: `connected`, `unplugged` or `lamp`.
        near: out of `NEAR`; None where nobody said.
        parts: kinds of the parts that are touched, and `coil` for a relay's coil.
        backprobed: a probe goes into a connector from behind.
        load_a: what the circuit draws when good, A; None where it is not known.
    """

    doing: Doing
    quantity: Quantity | None = None
    state: str = ""
    load: str = "connected"
    near: frozenset[str] | None = None
    parts: frozenset[str] = frozenset()
    backprobed: bool = True
    load_a: float | None = None


@dataclass(frozen=True, slots=True)
class When:
    """Conditions that an act meets all of; an empty one is met by every act."""

    doing: tuple[Doing, ...] = ()
    quantities: tuple[Quantity, ...] = ()
    states: tuple[str, ...] = ()
    loads: tuple[str, ...] = ()
    near: tuple[str, ...] = ()
    parts: tuple[str, ...] = ()
    backprobed: bool = False
    over_jack: bool | None = None

    def met(self, act: Act) -> bool:
        """Compare with an act; what nobody said about it counts as met, except its quantity."""
        over_jack = act.load_a is not None and act.load_a > JACK_A
        return (
            (not self.doing or act.doing in self.doing)
            and (not self.quantities or act.quantity in self.quantities)
            and (not self.states or not act.state or act.state in self.states)
            and (not self.loads or act.load in self.loads)
            and (not self.near or act.near is None or not act.near.isdisjoint(self.near))
            and (not self.parts or not act.parts.isdisjoint(self.parts) or (act.near is None and not act.parts))
            and (not self.backprobed or act.backprobed)
            and (self.over_jack is None or self.over_jack == over_jack)
        )


@dataclass(frozen=True, slots=True)
class Caution:
    """One thing to mind.

    Attributes:
        name: what it is called in this program.
        text: one or two short sentences; `{load_a}` stands for the act's own.
        source: where it comes from, in words.
        when: it applies where one of these is met.
    """

    name: str
    text: str
    source: str
    when: tuple[When, ...]


_MANUALS = "makers' service manuals"
_MANUALS_AND_PRESS = "makers' service manuals and the trade press"
_METERS = "meter makers' manuals"
_PRACTITIONER = "a named practitioner"
_MEMORY = "from memory, unverified"

_VOLTS = (Quantity.DC_VOLTAGE, Quantity.AC_VOLTAGE)
_AMPERES = (Quantity.DC_CURRENT, Quantity.AC_CURRENT)
_DEAD = (Quantity.RESISTANCE, Quantity.CONTINUITY, Quantity.DIODE, Quantity.CAPACITANCE)
_PROBED = (*_VOLTS, Quantity.FREQUENCY, Quantity.DUTY_CYCLE)
_POWERED: tuple[Doing, ...] = ("feed", "bridge")
_WATCHED: tuple[Doing, ...] = ("record", "measure")

CAUTIONS: tuple[Caution, ...] = (
    Caution(
        "restraint",
        "Never probe, feed or load-test airbag or belt circuits; keep lamps, clips and leads off their plugs, under"
        " the seats too.",
        _MANUALS,
        (When(near=(RESTRAINT,)), When(("begin", "record", *_POWERED)), When(loads=("lamp",))),
    ),
    Caution(
        "restraint charge",
        "Airbag circuits keep their charge after power-off, from 10 s to 10 min by vehicle: its manual says how long.",
        _MANUALS,
        (When(("replace",), near=(RESTRAINT,)), When(loads=("unplugged", "lamp"), near=(RESTRAINT,))),
    ),
    Caution(
        "high voltage",
        "Orange (high-voltage) cables of hybrids and EVs: leave them alone.",
        "the trade press",
        (When(("begin", "record", "replace", *_POWERED)),),
    ),
    Caution(
        "fuel",
        "Fuel vapour burns: no lamp, spark or flame near an open tank or line; make and break connections away from"
        " it.",
        _MANUALS,
        (When(near=(FUEL,)),),
    ),
    Caution(
        "rail pressure",
        "The fuel rail stays under pressure, ignition off and battery off too.",
        _MANUALS_AND_PRESS,
        (
            When(("begin", "record", "replace", *_POWERED), near=(FUEL,)),
            When(loads=("unplugged", "lamp"), near=(FUEL,)),
        ),
    ),
    Caution(
        "inertia switch",
        "Do not reset an inertia switch before checking for leaks.",
        _MANUALS,
        (When(near=(FUEL,), parts=("switch",)),),
    ),
    Caution(
        "clamp to crank",
        "Never crank or run a large load through the meter's jack: use a clamp.",
        _MEMORY,
        (
            When(("record",), _AMPERES),  # whoever leaves a meter in series may yet turn the key
            When(("measure",), _AMPERES, states=("crank",)),
            When(("measure",), _AMPERES, near=(HIGH_CURRENT,)),
        ),
    ),
    Caution(
        "clamp only",
        "With a clamp only: this circuit draws {load_a:.0f} A, and a meter's current jack takes 10 A at the most.",
        _METERS,
        (When(_WATCHED, _AMPERES, over_jack=True),),
    ),
    Caution(
        "current jack",
        "Leads left in the current jack (10 A at most) short the battery: move them back before volts.",
        _METERS,
        (When(_WATCHED, _AMPERES, over_jack=False), When(("begin",))),
    ),
    Caution(
        "moves",
        "The vehicle may move when cranked: room ahead, brake on, neutral.",
        _MANUALS,
        (When(states=("crank",)), When(("record",))),
    ),
    Caution(
        "under",
        "Before lying under it: stands or ramps on firm ground. A jack alone does not hold.",
        _MEMORY,
        (When(near=(UNDER,)),),
    ),
    Caution(
        "battery gas",
        "Battery gas explodes at a spark: clips at the battery go on first and come off last; make the last connection"
        " away from it.",
        _MEMORY,
        (When(near=(GAS,)),),
    ),
    Caution(
        "eyes",
        "Wear eye protection.",
        _MEMORY,
        (When(near=(GAS, UNDER, FUEL)), When(_POWERED)),
    ),
    Caution(
        "exhaust",
        "Run the engine outdoors only, or lead the exhaust outdoors.",
        _MEMORY,
        (When(states=("run", "crank")),),
    ),
    Caution(
        "belts and fan",
        "Keep leads, hands and sleeves clear of belts and fan: a fan may start by itself.",
        f"{_PRACTITIONER}; that a fan may start by itself: {_MEMORY}",
        (When(states=("run", "crank")), When(near=(MOVING,))),
    ),
    Caution(
        "starter",
        "Crank 15 to 30 seconds at most, then let the starter rest 2 minutes.",
        _MANUALS,
        (When(states=("crank",)),),
    ),
    Caution(
        "hot",
        "Let hot parts cool, and keep leads off them.",
        _MEMORY,
        (When(near=(HOT,)),),
    ),
    Caution(
        "high current",
        "Rings and watch off, tools away from live studs: a short there melts metal.",
        _MEMORY,
        (When(near=(HIGH_CURRENT,)),),
    ),
    Caution(
        "drive",
        "On a drive a passenger watches; no lead near pedals, wheel or airbags.",
        _MEMORY,
        (When(("record",)),),
    ),
    Caution(
        "feed",
        "Feed through a fuse no larger than the circuit's own, into this load's wire only, never a control unit's.",
        _MEMORY,
        (When(("feed",)),),
    ),
    Caution(
        "bridge",
        "Bridge with a lead that has a fuse no larger than the circuit's own, and never across a load.",
        _MEMORY,
        (When(("bridge",)),),
    ),
    Caution(
        "switch off first",
        "Switch off and isolate the circuit before taking a part out.",
        _MEMORY,
        (When(("replace",)),),
    ),
    Caution(
        "fuse",
        "A new fuse of the same rating only; where it blows again, find the short first.",
        _MEMORY,
        (When(("replace",), parts=("fuse",)),),
    ),
    Caution(
        "dead circuit",
        "Ohms, continuity and diode on a de-energised circuit only, off and isolated: a foreign voltage falsifies the"
        " reading or harms the meter.",
        _METERS,
        (When(_WATCHED, _DEAD),),
    ),
    Caution(
        "category",
        "CAT marks are for mains; the lowest-rated part in use, leads and clips too, sets the limit.",
        _METERS,
        (When(_WATCHED, (Quantity.AC_VOLTAGE, Quantity.AC_CURRENT)),),
    ),
    Caution(
        "lamp",
        "A test lamp draws current: only in this circuit, never on sensor wires.",
        _MANUALS,
        (When(loads=("lamp",)),),
    ),
    Caution(
        "back-probe",
        "Back-probe without spreading terminals: no paper clips, no sealed or micro connectors. A 0 V may be a probe"
        " that does not touch: never judge by one point.",
        _MANUALS,
        (When(_WATCHED, _PROBED, loads=("connected",), backprobed=True),),
    ),
    Caution(
        "meter fuse",
        "The meter's own fuse, once blown, makes a good load look dead.",
        "a practitioners' forum",
        (When(_WATCHED, _AMPERES, over_jack=False),),
    ),
    Caution(
        "ohms mislead",
        "Null the leads; one surviving strand reads good on ohms; on an open, prove the probe's contact first.",
        _MANUALS_AND_PRESS,
        (When(_WATCHED, (Quantity.RESISTANCE, Quantity.CONTINUITY)),),
    ),
    Caution(
        "coil",
        "Across the coil's two terminals: many relays are switched on their ground side, and one terminal is live"
        " whatever the command does.",
        _MANUALS_AND_PRESS,
        (When(("measure",), parts=("coil",)),),
    ),
    Caution(
        "no load",
        "An unplugged connector carries no load: full voltage there proves little.",
        _MANUALS_AND_PRESS,
        (When(("measure",), _VOLTS, loads=("unplugged",)),),
    ),
)
"""Every caution, the most dangerous first; from 'back-probe' on they guard the result more than the person."""


def applying(*acts: Act) -> tuple[str, ...]:
    """Give the texts of the cautions that apply to any of these acts, the most dangerous first, each once."""
    found = ((caution, next((act for act in acts if _applies(caution, act)), None)) for caution in CAUTIONS)
    return tuple(caution.text.format(load_a=act.load_a) for caution, act in found if act is not None)


def first_said(said: set[str], texts: Iterable[str]) -> list[str]:
    """Leave out what was said before, and note what is said now in `said`."""
    new = [text for text in texts if text not in said]
    said.update(new)
    return new


def sentence(text: str) -> str:
    """Make a text that ends a sentence one of its own."""
    return f"{text[:1].upper()}{text[1:]}."


def _applies(caution: Caution, act: Act) -> bool:
    return any(when.met(act) for when in caution.when)
