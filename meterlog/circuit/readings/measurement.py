"""Measurements and trials on a circuit, from TOML or from a person's answers."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

from meterlog.circuit.complaints.complaint_file import look_keys
from meterlog.circuit.model.bulb import BRIGHTNESS, MOST_W, Bulb
from meterlog.circuit.model.circuit import Circuit
from meterlog.circuit.model.circuit_file import check_keys, read_table
from meterlog.circuit.model.dangerous_names import refuse_dangerous
from meterlog.circuit.model.part import BATTERY_MINUS, LOADS, STATES, near
from meterlog.circuit.model.table_rows import instead, number, rows
from meterlog.circuit.readings.impossible_values import highest, impossible
from meterlog.circuit.readings.observed import LAMP_AT_PLUG, UNKNOWN, Observed, observed_from_table
from meterlog.circuit.words import span
from meterlog.errors import CircuitError
from meterlog.reading import Quantity

QUANTITIES = ("voltage", "voltage_drop", "current", "resistance", "lamp")
"""Says what can be read; `lamp`: how bright a test lamp is between two places."""
QUANTITY = {
    "voltage": Quantity.DC_VOLTAGE,
    "voltage_drop": Quantity.DC_VOLTAGE,
    "current": Quantity.DC_CURRENT,
    "resistance": Quantity.RESISTANCE,
}
"""Says what a meter is set to for each of them; a lamp needs none."""
UNITS = {"voltage": "V", "voltage_drop": "V", "current": "A", "resistance": "ohm", "lamp": ""}
STATE_WORDS = {
    "off": "with the key off",
    "key_on": "at key-on",
    "prime": "during the prime",
    "crank": "while cranking",
    "run": "with the engine running",
    "isolated": "isolated",
}
SIDES = ("harness", "load")
"""Halves of an unplugged connector: the vehicle's, and the load's."""
LOAD_WORDS = {"connected": "", "unplugged": ", unplugged", "lamp": ", a test lamp as the load"}

Result = Literal["runs", "dead", "blew", "alike", "differs"]
"""Says what can come of a trial; the last two: of a part that was held against a known-good one."""
_RUNS = ("runs", "fixed", "works", "cured")
_DEAD = ("dead", "no change", "unchanged", "same")
RESULTS = (*_RUNS, *_DEAD, "blew")
"""Words for the result of a trial; `blew`: a fuse did, the new one or that of the lead."""
COMPARED = ("alike", "differs", "same")
"""Words for the result of a comparison with a known-good part."""
HOW = ("feed", "bridged", "replaced", "compared")
"""Keys of a trial, one of which says what was done."""
MOST_READINGS, MOST_WORK = 60, 800
"""The most readings, and the most readings times parts, that are weighed together. Readings depend on one another under
every pair of faults: memory grows with the square of readings times parts (20 readings on 40 parts: 1.5 GB, 10 s)."""


@dataclass(frozen=True, slots=True)
class Measurement:
    """One measured value and where, how and when it was taken.

    Attributes:
        quantity: one of `QUANTITIES`.
        at: a point, part or command.
        to: where the other probe was.
        state: one of `STATES`.
        load: one of `LOADS`.
        value: V, A or ohm; inf for 'open'; of a lamp the share of its rated voltage that it looks like.
        error: half-width of its error band, in its unit; None where only the meter's usual accuracy is known.
        side: which half of an unplugged connector a probe was on, one of `SIDES`; empty where nobody said, or nothing
            is unplugged.
        watt: of a lamp: 0 for an LED lamp, None where nobody said.
        nulled: ohms from which the leads' own were taken off, by the meter or afterwards.
        at_coil: `at` is a command, so the probes are across what closes the part, whatever `to` says.
    """

    quantity: str
    at: str
    to: str = BATTERY_MINUS
    state: str = "key_on"
    load: str = "connected"
    value: float = math.nan
    error: float | None = None
    watt: float | None = None
    side: str = ""
    nulled: bool = False
    at_coil: bool = field(default=False, compare=False)

    @property
    def shown(self) -> str:
        """The value with its unit, or how bright the lamp is."""
        return self.span(self.value, self.value)

    @property
    def bulb(self) -> Bulb:
        """The lamp, where one is read."""
        return Bulb(self.watt)

    def span(self, low: float, high: float) -> str:
        """Two values as they would be read here: `12.1 to 12.4 V`, `dim to bright`; one where they are the same."""
        if self.quantity == "lamp":
            return self.bulb.words(low, high)
        return span(low, high, UNITS[self.quantity])

    @property
    def place(self) -> str:
        """Find where and how, in words."""
        if self.quantity == "current":
            where = f"through {self.at}"
        else:
            where = f"across {self.at}" if self.at_coil or self.to == self.at else f"from {self.at} to {self.to}"
        if self.quantity == "lamp":
            where = f"on {self.bulb.name} {where}"
        half = f" ({self.side} side)" if self.side else ""
        return f"{where} {STATE_WORDS[self.state]}{LOAD_WORDS[self.load]}{half}"

    def __str__(self) -> str:
        return f"{self.shown} {self.place}"

    def as_row(self) -> dict[str, object]:
        """Give the row of `measured` that says it."""
        row: dict[str, object] = {
            "quantity": self.quantity,
            "at": self.at,
            "to": self.to,
            "state": self.state,
            "load": self.load,
            "value": "open" if math.isinf(self.value) else self.shown if self.quantity == "lamp" else self.value,
        }
        more = {"error": self.error, "watt": self.watt, "side": self.side or None, "nulled": self.nulled or None}
        return row | {key: value for key, value in more.items() if value is not None}


@dataclass(frozen=True, slots=True)
class Tried:
    """A direct feed (`feed`, `into`), a `bridged`, a `replaced` or a `compared` part, and what came of it.

    Attributes:
        result: the load `runs`, it stays `dead`, or a fuse `blew`; a part that was taken out and measured beside a
            known-good one is `alike` or `differs`.
    """

    result: Result
    feed: str = ""
    into: str = ""
    replaced: str = ""
    bridged: str = ""
    compared: str = ""

    def __str__(self) -> str:
        if self.compared:
            found = "it differs" if self.result == "differs" else "both alike"
            return f"{self.compared} measured beside a known-good one, {found}"
        end = {"runs": "and it ran", "dead": "and it stayed dead", "blew": "and the fuse blew"}[self.result]
        if self.replaced:
            return f"{self.replaced} replaced, {end}"
        return f"{self.bridged} bridged, {end}" if self.bridged else f"fed {self.into} from {self.feed}, {end}"

    def as_row(self) -> dict[str, object]:
        """Give the row of `tried` that says it."""
        how = {key: value for key in (*HOW, "into") if (value := getattr(self, key))}
        return {**how, "result": self.result}


Told = Tried | Observed
"""Evidence that is no reading: what was tried, and what was observed without an instrument."""


def load_measured(
    path: str | Path, circuit: Circuit, *, templates: bool = True
) -> tuple[list[Measurement], list[Told]]:
    """The `measured`, `tried` and `observed` of a file, or (where `templates` says so) of a template.

    Raises:
        CircuitError: naming the entry and the key.
    """
    table = read_table(path, templates=templates)
    check_keys(table, str(path))
    if not templates and not {"measured", "tried", "observed"} & table.keys():
        raise CircuitError(f"{path}: it has neither 'measured' nor 'tried' nor 'observed'")
    return measured_from_table(table, circuit, str(path))


def measured_from_table(
    table: Mapping[str, object], circuit: Circuit, source: str = "measured"
) -> tuple[list[Measurement], list[Told]]:
    """The readings of a TOML table, and what its `tried` and `observed` say.

    Raises:
        CircuitError: naming the entry and the key.
    """
    measured = [
        measurement_from_row(row, circuit, f"{source}: measured {k}:")
        for k, row in enumerate(rows(table, "measured", source, most_readings(circuit)), 1)
    ]
    tried = [
        trial_from_row(row, circuit, f"{source}: tried {k}:")
        for k, row in enumerate(rows(table, "tried", source, MOST_READINGS), 1)
    ]
    observed = table.get("observed", {})
    if not isinstance(observed, dict):
        raise CircuitError(f"{source}: 'observed' must be a table such as observed = {{relay_clicks = \"no\"}}")
    where = f"{source}: observed:"
    if LAMP_AT_PLUG in observed and observed[LAMP_AT_PLUG] != UNKNOWN:
        measured.append(_lamp_at_plug(observed[LAMP_AT_PLUG], circuit, where))
    return measured, [*tried, *observed_from_table(observed, circuit, where, look_keys())]


def _lamp_at_plug(answer: object, circuit: Circuit, where: str) -> Measurement:
    """Make the reading that a lamp between the two contacts of the load's plug is."""
    faces = circuit.faces
    if faces is None:
        raise CircuitError(f"{where} no points of the circuit are the two contacts of the load's plug")
    row = {"quantity": "lamp", "at": faces[0], "to": faces[1], "load": "unplugged", "value": answer}
    return measurement_from_row(row, circuit, where)


def most_readings(circuit: Circuit) -> int:
    """The most readings that are weighed together on a circuit."""
    return min(MOST_READINGS, MOST_WORK // len(circuit.parts))


def refuse_too_many(measured: Sequence[Measurement], circuit: Circuit) -> None:
    """Refuse more readings than are weighed, out of all files and sessions together.

    Raises:
        CircuitError: there are more.
    """
    if len(measured) > most_readings(circuit):
        raise CircuitError(
            f"{len(measured)} readings are too many: at most {most_readings(circuit)} can be weighed together on"
            f" {len(circuit.parts)} parts, so give fewer files or sessions, or draw the circuit with fewer parts"
        )


def measurement_from_row(row: Mapping[str, object], circuit: Circuit, where: str) -> Measurement:
    """One measurement, checked against the circuit.

    Raises:
        CircuitError: naming the key.
    """
    known = [*(name for name in Measurement.__slots__ if name != "at_coil"), "kind"]
    for key in row:
        if key not in known:
            raise CircuitError(f"{where} unknown key '{key}'{near(key, known)}")
    quantity = _word(row, "quantity", QUANTITIES, where)
    resistance = quantity == "resistance"
    usual = "isolated" if resistance else next((s for s in ("key_on", *circuit.active) if s in circuit.active), "off")
    state = _word(row, "state", STATES, where, usual)
    if resistance and state not in ("isolated", "off"):
        raise CircuitError(
            f"{where} ohms are only measured with the circuit de-energised: 'state' must be isolated or off, not"
            f" {state}"
        )
    if not resistance and state == "isolated":
        raise CircuitError(
            f"{where} an isolated circuit has no {quantity}: 'state' must be one of {', '.join(STATES[:-1])}"
        )
    at = _id(row, "at", circuit, where)
    default_to = at if _across(circuit, quantity, at) else BATTERY_MINUS
    to = _id(row, "to", circuit, where) if "to" in row else default_to
    if to == at and quantity != "current" and at not in (*circuit.part_index, *circuit.commands):
        raise CircuitError(f"{where} both probes are at '{at}': give the place of the other one as 'to'")
    watt = _watt(row, quantity, where)
    if "side" in row and row.get("load") != "unplugged":
        raise CircuitError(f"{where} 'side' is a half of an unplugged connector: 'load' must be unplugged")
    nulled = row.get("nulled", False)
    if not isinstance(nulled, bool) or (nulled and not resistance):
        raise CircuitError(f"{where} 'nulled' must be true or false, and belongs to ohms")
    return Measurement(
        quantity=quantity,
        at=at,
        to=to,
        state=state,
        load=_word(row, "load", LOADS, where, "connected"),
        value=_value(row, quantity, circuit, where),
        error=number(row, "error", where, default=0.0, most=highest(quantity, circuit)) if "error" in row else None,
        watt=watt,
        side=_word(row, "side", SIDES, where) if "side" in row else "",
        nulled=nulled,
        at_coil=at in circuit.commands,
    )


def _watt(row: Mapping[str, object], quantity: str, where: str) -> float | None:
    """Read which lamp it is: `watt`, or `kind = "led"`, which is 0; None where nothing is said."""
    if quantity != "lamp":
        for key in ("watt", "kind"):
            if key in row:
                raise CircuitError(f"{where} '{key}' is about a lamp: 'quantity' is {quantity}")
        return None
    if "error" in row:
        raise CircuitError(f"{where} a lamp has no 'error': its words are bands already")
    if row.get("load") == "lamp":
        raise CircuitError(
            f"{where} a lamp in the load's place is read unplugged, from one point of the plug to the other"
        )
    led = _word(row, "kind", ("filament", "led"), where, "filament") == "led"
    watt = number(row, "watt", where, default=0.0, most=MOST_W) if "watt" in row else None
    if led and watt:
        raise CircuitError(f"{where} an LED lamp loads nothing, so it has no 'watt'")
    return 0.0 if led else watt


def _across(circuit: Circuit, quantity: str, at: str) -> bool:
    """Tell whether a place alone (no `to`) means 'across it': every part on drops and ohms, and the load."""
    if quantity in ("voltage", "lamp"):
        return at == circuit.parts[circuit.load].id
    return quantity != "current" and at in circuit.part_index


def trial_from_row(row: Mapping[str, object], circuit: Circuit, where: str) -> Tried:
    """Read one trial, checked against the circuit.

    Raises:
        CircuitError: naming the key.
    """
    known = (*HOW, "into", "result")
    for key in row:
        if key not in known:
            raise CircuitError(f"{where} unknown key '{key}'{near(key, known)}")
    if sum(bool({key, *more} & row.keys()) for key, *more in (("feed", "into"), *((how,) for how in HOW[1:]))) > 1:
        raise CircuitError(
            f"{where} a feed, a bridged, a replaced and a compared part are separate trials: make an entry for each"
        )
    if "compared" in row:
        alike = _word(row, "result", COMPARED, where) != "differs"
        return Tried("alike" if alike else "differs", compared=_compared(row, circuit, where))
    said = row.get("result")
    if said not in RESULTS:
        raise CircuitError(f"{where} 'result' must be one of {', '.join(RESULTS)}{instead(said)}")
    result: Result = "runs" if said in _RUNS else "dead" if said in _DEAD else "blew"
    if "replaced" in row:
        return Tried(result, replaced=_id(row, "replaced", circuit, where))
    if "bridged" in row:
        return Tried(result, bridged=_bridged(row, circuit, where))
    if "into" not in row:
        raise CircuitError(
            f"{where} give 'feed' and 'into' (a direct feed), 'bridged', 'replaced' or 'compared' (a part)"
        )
    feed, into = _id({"feed": "battery", **row}, "feed", circuit, where), _id(row, "into", circuit, where)
    if feed == into:
        raise CircuitError(f"{where} a feed from '{feed}' into itself feeds nothing")
    return Tried(result, feed=feed, into=into)


def _compared(row: Mapping[str, object], circuit: Circuit, where: str) -> str:
    """Read which part was held against a known-good one."""
    id_ = _id(row, "compared", circuit, where)
    if id_ not in circuit.part_index:
        raise CircuitError(f"{where} 'compared' must be a part that was taken out; '{id_}' is none")
    return id_


def _bridged(row: Mapping[str, object], circuit: Circuit, where: str) -> str:
    """Read what was bridged: a part, or the part that a command closes; never what carries the whole voltage."""
    id_ = _id(row, "bridged", circuit, where)
    k = circuit.commands.get(id_, circuit.part_index.get(id_))
    if k is None:
        raise CircuitError(f"{where} 'bridged' must be a part, whose two ends were joined; '{id_}' is a point")
    if k in (0, circuit.load):
        raise CircuitError(f"{where} bridging '{id_}' is a short circuit, never a trial")
    return circuit.parts[k].id


def _word(row: Mapping[str, object], key: str, choices: Sequence[str], where: str, default: str | None = None) -> str:
    word = row.get(key, default)
    if not isinstance(word, str) or word not in choices:
        raise CircuitError(f"{where} '{key}' must be one of {', '.join(choices)}{instead(word)}")
    return word


def _id(row: Mapping[str, object], key: str, circuit: Circuit, where: str) -> str:
    id_ = row.get(key)
    if not isinstance(id_, str):
        raise CircuitError(f"{where} '{key}' must be the id of a point or part")
    refuse_dangerous(id_, where)
    if id_ == "battery" and id_ not in circuit.ids():
        return circuit.parts[0].id
    if id_ not in circuit.ids():
        known = near(id_, circuit.ids())
        raise CircuitError(f"{where} '{key}' is '{id_[:60]}', which the circuit '{circuit.name}' does not have{known}")
    return id_


def _value(row: Mapping[str, object], quantity: str, circuit: Circuit, where: str) -> float:
    value = row.get("value")
    if quantity == "lamp":
        return BRIGHTNESS[_word(row, "value", tuple(BRIGHTNESS), where)]
    if value == "open" and quantity == "resistance":
        return math.inf
    if isinstance(value, bool) or not isinstance(value, int | float) or value != value:
        wanted = "a number or 'open'" if quantity == "resistance" else "a number"
        raise CircuitError(f"{where} 'value' must be {wanted}{instead(value)}")
    if (abs(value) == math.inf and quantity != "resistance") or (value < 0 and quantity == "resistance"):
        raise CircuitError(f"{where} 'value' cannot be {str(value)[:60]} for a {quantity}")
    found = float(max(-(10**300), min(value, 10**300))) if value != math.inf else value  # an int may exceed any float
    if reason := impossible(quantity, found, circuit):
        raise CircuitError(f"{where} {reason}")
    return found
