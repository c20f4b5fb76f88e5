"""Understands what a person types on the spot: a reading as the meter shows it, the name of a place, a trial."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable

from meterlog.circuit.model.bulb import BRIGHTNESS
from meterlog.circuit.model.circuit import Circuit
from meterlog.circuit.model.part import LOADS, STATES
from meterlog.circuit.readings.measurement import QUANTITY, SIDES, UNITS
from meterlog.circuit.readings.observed import questions
from meterlog.circuit.readings.trial import COMPARED, RESULTS
from meterlog.errors import TableError, UsageError
from meterlog.text.numbers import FOREIGN, GOOD, CellReader
from meterlog.text.typed import EITHER
from meterlog.text.units import Unit

_VERBS = {
    "fed": "feed",
    "feed": "feed",
    "bridged": "bridged",
    "bridge": "bridged",
    "replaced": "replaced",
    "replace": "replaced",
    "swapped": "replaced",
    "swap": "replaced",
    "compared": "compared",
    "compare": "compared",
}
HOW_BRIGHT = f"say how bright the lamp is: {', '.join(BRIGHTNESS)}, with '5 W' or 'led' if you know"
_LAMP = re.compile(
    rf"(?:(?P<led>led)\s+)?(?:lamp\s+)?(?P<word>{'|'.join(BRIGHTNESS)})(?:\s+(?P<watt>\d+(?:[.,]\d+)?)\s*w)?"
    r"(?:\s+at\s+(?P<place>.+))?",
    re.IGNORECASE,
)

_UNPLUGGED = re.compile(r"\s*[,;]\s*(?P<name>[^,;:]*\S)\s+unplugged\b", re.IGNORECASE)


def typed_value(text: str, quantity: str) -> float:
    """A reading: `12.4`, `12,4`, `12.4V`, `12300 mV`, `2.2 kohm`, `2.2k`; on ohms `open`, `OL` and `overload` are inf.

    Args:
        text: as typed.
        quantity: one of `measurement.QUANTITIES`.

    Returns:
        V, A or ohm.

    Raises:
        UsageError: it is none, or can be read in two ways.
    """
    word = text.strip()
    unit = UNITS[quantity]
    if EITHER.fullmatch(word):
        raise UsageError(f"'{text}' can be a decimal comma or a thousand: write it with a point, or without the comma")
    decimal = "," if word.rfind(",") > word.rfind(".") else "."
    if unit == "ohm" and re.fullmatch(r".*\d\s*[kKM]", word):
        word += "ohm"
    reader = CellReader(QUANTITY[quantity], Unit(unit, 0), decimal)
    try:
        cell = reader[word]
        if cell.state not in (GOOD, FOREIGN):
            cell = reader[word.casefold()]  # `12 mv`, `3 Volts`
    except TableError:
        raise UsageError(f"'{text}' can be milli or mega: write m{unit} for milli") from None
    if cell.state == FOREIGN:
        raise UsageError(f"'{text}' is not a reading in {unit}, which is what was asked for")
    if cell.state != GOOD or math.isnan(cell.value):
        also = ", or 'open' for an overload" if unit == "ohm" else ""
        raise UsageError(f"'{text}' is not a number; write 12.3, or 12.3 {unit}{also}")
    if math.isinf(cell.value) and (unit != "ohm" or cell.value < 0):
        raise UsageError(f"'{text}' is not a reading in {unit}: choose the meter's next higher range and measure again")
    return cell.value


def typed_id(text: str, ids: Iterable[str]) -> str | None:
    """The id that a name means: blanks, hyphens, underscores and case are passed over; None where none or two fit."""
    known = list(ids)
    if text in known:
        return text
    found = {id_ for id_ in known if _plain(id_) == _plain(text)}
    return found.pop() if len(found) == 1 else None


def typed_place(text: str, circuit: Circuit) -> dict[str, str] | None:
    """`A`, `A to B`, and after a comma or semicolon a state, a load or `NAME unplugged`, as keys of a row; what
    is not said is left out. None where A or B is not in the circuit."""
    text, out = typed_unplugged(text, circuit)
    where, *words = (word.strip() for word in re.split("[,;]", text))
    ends = [typed_id(end, circuit.ids()) for end in re.split(r"\s+to\s+", where)]
    if len(ends) > 2:
        return None
    found = dict(out)
    for key, end in zip(("at", "to"), ends, strict=False):
        if end is None:
            return None
        found[key] = end
    for word in words:
        plain = re.sub(r"[\s-]+", "_", word.lower())
        if plain in STATES:
            found["state"] = plain
        if plain in LOADS:
            found["load"] = plain
        half = plain.removesuffix("_side")
        if plain != half and half in SIDES:
            found |= {"load": "unplugged", "side": half}
    return found


def typed_unplugged(text: str, circuit: Circuit) -> tuple[str, dict[str, str]]:
    """Take `, heater unplugged` out of what was typed: the rest, and the key of a row that says it."""
    names = [_known(found["name"], circuit) for found in _UNPLUGGED.finditer(text)]
    return _UNPLUGGED.sub("", text), {"unplugged": ", ".join(names)} if names else {}


def typed_lamp(text: str) -> tuple[dict[str, object], str] | None:
    """A test lamp: `dim`, `lamp bright 5 W`, `led dark`, `lamp dim at plug_ground to battery_plus, crank` as keys of a
    `measured` row and, unread, the place; None where it is none."""
    said = _LAMP.fullmatch(text.strip())
    if said is None:
        return None
    row: dict[str, object] = {"quantity": "lamp", "value": said["word"].casefold()}
    if said["led"]:
        row["kind"] = "led"
    if said["watt"]:
        row["watt"] = float(said["watt"].replace(",", "."))
    return row, said["place"] or ""


def typed_observed(text: str, circuit: Circuit) -> dict[str, object] | None:
    """`relay_clicks no`, `relay clicks: no`, `part_hot = relay` as an `observed` table; None where it is none. The
    answer is not checked here."""
    for key in sorted(questions(), key=len, reverse=True):
        words = key.replace("_", r"[\s_-]+")
        said = re.fullmatch(rf"{words}(?:\s*[=:]\s*|\s+)(?P<answer>.+)", text.strip(), re.IGNORECASE)
        if said:
            answer = said["answer"]
            return {key: typed_id(answer, circuit.ids()) or answer.casefold()}
    return None


def typed_trial(text: str, circuit: Circuit) -> dict[str, object] | None:
    """`fed pump_plus runs`, `feed fuse_out into pump_plus dead`, `bridged relay runs`, `replaced fuse blew`,
    `compared relay differs`, `replaced fuse, heater unplugged: runs` as a `tried` row; None where it is none of them.
    The names are not checked here.

    Raises:
        UsageError: it does not say what came of it, or of what.
    """
    verb, _, rest = text.strip().partition(" ")
    kind = _VERBS.get(verb.casefold())
    if kind is None:
        return None
    rest, out = typed_unplugged(rest, circuit)
    result = _result(rest, kind)
    place = rest[: -len(result)].strip(" ,:;") if result else ""
    if not result or not place:
        words = "alike or differs" if kind == "compared" else "runs, dead or blew"
        end = "differs" if kind == "compared" else "dead"
        example = "fed pump_plus runs" if kind == "feed" else f"{kind} relay {end}"
        raise UsageError(f"'{text}' needs a name and the result, {words}: for example '{example}'")
    if kind != "feed":
        return {kind: _known(place, circuit), **out, "result": result}
    ends = re.fullmatch(r"(?:(?P<feed>.+?)\s+(?:into|to)\s+)?(?P<into>.+?)(?:\s+from\s+(?P<source>.+))?", place)
    assert ends is not None, "any name fits"
    feed, into = ends["feed"] or ends["source"] or "battery", ends["into"].removeprefix("into ")
    return {"feed": _known(feed, circuit), "into": _known(into, circuit), **out, "result": result}


def typed_plan(text: str, circuit: Circuit) -> dict[str, object] | None:
    """`fed pump_plus`, `replaced relay` as a `tried` row: what somebody is about to try, so nothing has come of it yet
    (the row says `dead` or `alike`); None where it is none of them, or says what came of it."""
    verb, _, rest = text.strip().partition(" ")
    kind = _VERBS.get(verb.casefold())
    if kind is None or not rest or _result(f" {rest}", kind):
        return None
    return typed_trial(f"{text} {'alike' if kind == 'compared' else 'dead'}", circuit)


def _result(text: str, kind: str) -> str | None:
    words = COMPARED if kind == "compared" else RESULTS
    return next((word for word in words if re.search(rf"\s{word}$", text, re.IGNORECASE)), None)


def _known(name: str, circuit: Circuit) -> str:
    return typed_id(name, circuit.ids()) or name


def _plain(text: str) -> str:
    return re.sub(r"[\s_-]+", "_", text.strip().casefold())
