"""Measurements and trials out of rows, as a file, an answer or a page gives them, checked against the circuit."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from meterlog.circuit.model.bulb import BRIGHTNESS, MOST_W
from meterlog.circuit.model.circuit import Circuit
from meterlog.circuit.model.dangerous_names import refuse_dangerous
from meterlog.circuit.model.part import BATTERY_MINUS, LOADS, STATES, near
from meterlog.circuit.model.table_rows import instead, number, refuse_unknown
from meterlog.circuit.readings.impossible_values import highest, impossible
from meterlog.circuit.readings.measurement import QUANTITIES, SIDES, Measurement
from meterlog.circuit.readings.trial import COMPARED, DEAD, HOW, RESULTS, RUNS, Result, Tried
from meterlog.circuit.readings.unplugged import positions, unplugged_in
from meterlog.errors import CircuitError


def measurement_from_row(row: Mapping[str, object], circuit: Circuit, where: str) -> Measurement:
    """One measurement, checked against the circuit.

    Raises:
        CircuitError: naming the key.
    """
    known = [*(name for name in Measurement.__slots__ if name != "at_coil"), "kind"]
    refuse_unknown(row, known, where)
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
    load, unplugged = _unplugged(row, circuit, where)
    if "side" in row and load != "unplugged" and not unplugged:
        raise CircuitError(f"{where} 'side' is a half of an unplugged connector: 'load' must be unplugged")
    nulled = row.get("nulled", False)
    if not isinstance(nulled, bool) or (nulled and not resistance):
        raise CircuitError(f"{where} 'nulled' must be true or false, and belongs to ohms")
    return Measurement(
        quantity=quantity,
        at=at,
        to=to,
        state=state,
        load=load,
        value=_value(row, quantity, circuit, where),
        error=number(row, "error", where, default=0.0, most=highest(quantity, circuit)) if "error" in row else None,
        watt=watt,
        side=_word(row, "side", SIDES, where) if "side" in row else "",
        nulled=nulled,
        unplugged=unplugged,
        at_coil=at in circuit.commands,
    )


def _unplugged(row: Mapping[str, object], circuit: Circuit, where: str) -> tuple[str, str]:
    """Read what is unplugged: `load`, and the loads of branches; the chain's own load is unplugged by either key."""
    load = _word(row, "load", LOADS, where, "connected")
    first, *others = circuit.loads
    named = positions(circuit, unplugged_in(row, circuit, where))
    if first in named:
        if load == "lamp":
            raise CircuitError(f"{where} '{circuit.parts[first].id}' is unplugged and a lamp stands in for it: say one")
        load = "unplugged"
    return load, ", ".join(circuit.parts[k].id for k in others if k in named)


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
    known = (*HOW, "into", "unplugged", "result")
    refuse_unknown(row, known, where)
    if sum(bool({key, *more} & row.keys()) for key, *more in (("feed", "into"), *((how,) for how in HOW[1:]))) > 1:
        raise CircuitError(
            f"{where} a feed, a bridged, a replaced and a compared part are separate trials: make an entry for each"
        )
    if "compared" in row:
        if "unplugged" in row:
            raise CircuitError(f"{where} a part that was taken out to be compared needs no 'unplugged'")
        alike = _word(row, "result", COMPARED, where) != "differs"
        return Tried("alike" if alike else "differs", compared=_compared(row, circuit, where))
    said = row.get("result")
    if said not in RESULTS:
        raise CircuitError(f"{where} 'result' must be one of {', '.join(RESULTS)}{instead(said)}")
    result: Result = "runs" if said in RUNS else "dead" if said in DEAD else "blew"
    unplugged = unplugged_in(row, circuit, where)
    if result == "runs" and circuit.load in positions(circuit, unplugged):
        raise CircuitError(f"{where} '{circuit.parts[circuit.load].id}' is unplugged, so 'result' cannot be {said}")
    if "replaced" in row:
        return Tried(result, replaced=_id(row, "replaced", circuit, where), unplugged=unplugged)
    if "bridged" in row:
        return Tried(result, bridged=_bridged(row, circuit, where), unplugged=unplugged)
    if "into" not in row:
        raise CircuitError(
            f"{where} give 'feed' and 'into' (a direct feed), 'bridged', 'replaced' or 'compared' (a part)"
        )
    feed, into = _id({"feed": "battery", **row}, "feed", circuit, where), _id(row, "into", circuit, where)
    if feed == into:
        raise CircuitError(f"{where} a feed from '{feed}' into itself feeds nothing")
    return Tried(result, feed=feed, into=into, unplugged=unplugged)


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
