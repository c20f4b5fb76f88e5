"""Reads a number that a person types, wherever: `6`, `6.5`, `6,5`, `500 mA`, `2.2 kohm`; no arrays needed here."""

from __future__ import annotations

import re

from meterlog.errors import TableError, UsageError
from meterlog.text.units import find_unit

_NUMBER = r"[-+\u2212]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][-+]?\d{1,2})?"
_AMOUNT = re.compile(rf"(?P<number>{_NUMBER})\s*(?P<unit>\S.*)?")
EITHER = re.compile(r"[+-]?[1-9]\d{0,2},\d{3}(?![\d,.]).*")
"""`1,234` may be a decimal comma or a thousand."""


def typed_number(text: str) -> float:
    """A number, with a decimal point or a decimal comma.

    Raises:
        UsageError: it is none, or can be read in two ways.
    """
    word = text.strip()
    if EITHER.fullmatch(word):
        raise UsageError(f"'{text}' can be a decimal comma or a thousand: write it with a point, or without the comma")
    if not re.fullmatch(_NUMBER, word):
        raise UsageError(f"'{text}' is not a number")
    return float(word.replace(",", ".").replace("\u2212", "-"))


def typed_amount(text: str) -> tuple[float, str]:
    """A number with a unit, or without.

    Returns:
        The value in the unit's base (V, A, ohm, Hz, F, %, degC), and that base; the number as it stands and an empty
        text where no unit was written.

    Raises:
        UsageError: it is none, or number or unit can be read in two ways.
    """
    match = _AMOUNT.fullmatch(text.strip())
    if match is None:
        raise UsageError(f"'{text}' is not a number with a unit, for example 6V or 500 mA")
    number = typed_number(match["number"])
    if not match["unit"]:
        return number, ""
    try:
        unit = find_unit(match["unit"]) or find_unit(match["unit"].casefold())
    except TableError:
        unit_word = match["unit"].strip()
        base = "Hz" if unit_word == "mhz" else unit_word[1:]
        raise UsageError(
            f"in '{text}' the unit can be milli or mega: write m{base} for milli, mega{base} for mega"
        ) from None
    if unit is None or unit.base == "degF":
        raise UsageError(
            f"in '{text}' the unit '{match['unit']}' is not known: V, A, ohm, Hz, F, % or degC, with u m k M before"
        )
    # the power as text: 500 mA is 0.5 A to the last bit
    return float(f"{number!r}e{unit.exponent}") if "e" not in repr(number) else number * 10.0**unit.exponent, unit.base
