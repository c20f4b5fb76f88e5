"""The text between an SCPI instrument and its controller: functions, numbers, errors. Pure.

Sources: SCPI-1999 (headers, short forms, function names, error numbers, infinity 9.9E37 and not-a-number 9.91E37),
IEEE 488.2 (NR1, NR2 and NR3 numbers, `*IDN?`).
"""

from __future__ import annotations

import math
import re
from typing import NamedTuple

from meterlog.reading import Flag, Quantity
from meterlog_drivers.display.unit_words import COUPLING

NO_VALUE = 9.9e37
"""Any magnitude from here on is no value: infinity is 9.9E37 and not-a-number 9.91E37 (SCPI-1999, 7.2.1.4-5)."""

FUNCTIONS = {
    Quantity.DC_VOLTAGE: "VOLT:DC",
    Quantity.AC_VOLTAGE: "VOLT:AC",
    Quantity.DC_CURRENT: "CURR:DC",
    Quantity.AC_CURRENT: "CURR:AC",
    Quantity.RESISTANCE: "RES",
    Quantity.CONTINUITY: "CONT",
    Quantity.DIODE: "DIOD",
    Quantity.FREQUENCY: "FREQ",
    Quantity.CAPACITANCE: "CAP",
    Quantity.TEMPERATURE: "TEMP",
}
"""Name of a quantity in `CONF:` and answered by `FUNC?`."""

_BY_FUNCTION = {
    **{text: quantity for quantity, text in FUNCTIONS.items()},
    "VOLT": Quantity.DC_VOLTAGE,
    "CURR": Quantity.DC_CURRENT,
    "FRES": Quantity.RESISTANCE,
}
_NUMBER = re.compile(r"([+-]?)(\d+\.?\d*|\.\d+)(?:[eE]\s*([+-]?\d{1,4}))?")
_PROMPT = re.compile(r"^(?:\s*[=?!*]?>)+\s*")
_ERROR = re.compile(r'([+-]?\d+)\s*,\s*"?(.*?)"?')


class Value(NamedTuple):
    """A number as an instrument sent it: value, one count of its last digit, and OVERLOAD or nothing."""

    value: float
    resolution: float
    flags: Flag


def short_form(header: str) -> str:
    """A header in its short form: `CONFigure:VOLTage:DC` and `conf:volt:dc` are both `CONF:VOLT:DC`.

    A word's short form is its first four letters, or three where the fourth is a vowel (SCPI-1999, 6.2.1).
    """
    return ":".join(_short_word(word) for word in header.strip().lstrip(":").upper().split(":"))


def _short_word(word: str) -> str:
    query = "?" if word.endswith("?") else ""
    stem = word.rstrip("?")
    if len(stem) > 4:
        stem = stem[:3] if stem[3] in "AEIOU" else stem[:4]
    return stem + query


def quantity_of(reply: str) -> Quantity | None:
    """The quantity that a reply to `FUNC?` or `CONF?` names: `"VOLT:DC"`, `VOLT +1.0E+01,+1.0E-06`; None: unknown."""
    words = reply.strip().strip("\"'").replace('"', " ").replace(",", " ").split()
    return _BY_FUNCTION.get(short_form(words[0])) if words else None


def without_prompt(line: str) -> str:
    """A line without the prompts (`>`, `=>`, `?>`, `!>`) that some instruments put before a reply."""
    return _PROMPT.sub("", line).strip()


def values_of(reply: str) -> list[Value] | None:
    """The numbers of a comma list; None where any item is no number."""
    values = []
    for item in reply.split(","):
        match = _NUMBER.fullmatch(item.strip())
        if match is None:
            return None
        sign, mantissa, power = match[1], match[2], int(match[3] or 0)
        value = float(f"{sign}{mantissa}e{power}")
        if abs(value) >= NO_VALUE:
            values.append(Value(math.copysign(math.inf, value), math.nan, Flag.OVERLOAD))
        else:
            least = float(f"1e{power - len(mantissa.partition('.')[2])}")
            values.append(Value(value, least, Flag.NONE))
    return values


def number_text(value: float, resolution: float) -> str:
    """A value as an instrument sends it, NR3, its last digit one count; +-9.9E37 for infinity, 9.91E37 for NaN."""
    if math.isnan(value):
        return "+9.91000000E+37"
    if math.isinf(value):
        return "+9.90000000E+37" if value > 0 else "-9.90000000E+37"
    least = -8 if math.isnan(resolution) else round(math.log10(resolution))
    counts = f"{abs(round(value / 10.0**least))}"
    decimals = len(counts) - 1
    sign = "-" if value < 0 else "+"
    return f"{sign}{counts[0]}{'.' if decimals else ''}{counts[1:]}E{decimals + least:+03d}"


def error_of(reply: str) -> tuple[int, str] | None:
    """The number and text of a reply to `SYST:ERR?`; None where it is none."""
    match = _ERROR.fullmatch(reply.strip())
    return (int(match[1]), match[2]) if match else None


def implied(quantity: Quantity) -> Flag:
    """The AC or DC that a quantity implies."""
    return COUPLING.get(quantity, Flag.NONE)
