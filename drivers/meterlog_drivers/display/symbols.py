"""The meaning of the symbols lit together on a meter's display: the quantity, the prefix and the flags.

Several chips send one bit for each symbol of the display. A combination that is not in `_MEASURED` is refused,
never guessed: this is also most of what protects such a framing against a flipped bit.
"""

from __future__ import annotations

import math
from collections.abc import Collection
from typing import NamedTuple

from meterlog.errors import EncodeError
from meterlog.reading import Flag, Quantity, Reading
from meterlog.text.units import PREFIXES
from meterlog_drivers.display.decimals import resolution_exponent

FLAGS = {
    "auto": Flag.AUTORANGE,
    "hold": Flag.HOLD,
    "relative": Flag.RELATIVE,
    "minimum": Flag.MINIMUM,
    "maximum": Flag.MAXIMUM,
    "low-battery": Flag.LOW_BATTERY,
    "ac": Flag.AC,
    "dc": Flag.DC,
}
UNITS = ("V", "A", "ohm", "Hz", "F", "%", "degC", "degF", "beep", "diode", "hFE")
SILENT = ("bar", "auto-power-off", "rs232", "")
"""Symbols that say nothing about the reading; '' is a bit without a meaning that may be anything."""

SYMBOLS = frozenset([*FLAGS, *UNITS, *SILENT, *filter(None, PREFIXES)])


class _Measured(NamedTuple):
    quantity: Quantity
    prefixes: str
    coupling: str  # '' none allowed, 'dc' or 'ac' required, 'dc?' allowed


_MEASURED: dict[frozenset[str], tuple[_Measured, ...]] = {
    frozenset({"V"}): (_Measured(Quantity.DC_VOLTAGE, "m", "dc"), _Measured(Quantity.AC_VOLTAGE, "m", "ac")),
    frozenset({"A"}): (_Measured(Quantity.DC_CURRENT, "um", "dc"), _Measured(Quantity.AC_CURRENT, "um", "ac")),
    frozenset({"ohm"}): (_Measured(Quantity.RESISTANCE, "kM", ""),),
    frozenset({"ohm", "beep"}): (_Measured(Quantity.CONTINUITY, "", ""),),
    frozenset({"V", "diode"}): (_Measured(Quantity.DIODE, "", "dc?"),),
    frozenset({"Hz"}): (_Measured(Quantity.FREQUENCY, "kM", ""),),
    frozenset({"%"}): (_Measured(Quantity.DUTY_CYCLE, "", ""),),
    frozenset({"F"}): (_Measured(Quantity.CAPACITANCE, "pnum", ""),),
    frozenset({"degC"}): (_Measured(Quantity.TEMPERATURE, "", ""),),
    frozenset({"degF"}): (_Measured(Quantity.TEMPERATURE, "", ""),),
}
"""Unit symbols lit together, and what that measures; a farad reading always bears a prefix."""


class Mode(NamedTuple):
    """The mode that the lit symbols say.

    Attributes:
        quantity: what is measured.
        exponent: the prefix as a power of ten.
        flags: the flags that are lit; AC and DC among them.
        fahrenheit: the number is in degrees Fahrenheit.
    """

    quantity: Quantity
    exponent: int
    flags: Flag
    fahrenheit: bool = False


def mode_of(symbols: Collection[str]) -> Mode | None:
    """Work out what lit symbols mean together; None where no meter shows that combination."""
    lit = frozenset(symbols)
    prefixes = [s for s in lit if s and s in PREFIXES]
    candidates = _MEASURED.get(lit.intersection(UNITS), ())
    if len(prefixes) > 1 or not candidates:
        return None
    prefix = prefixes[0] if prefixes else ""
    coupling = "ac" * ("ac" in lit) + "dc" * ("dc" in lit)
    for measured in candidates:
        if coupling not in ((measured.coupling,) if measured.coupling != "dc?" else ("", "dc")):
            continue
        bare_allowed = measured.quantity is not Quantity.CAPACITANCE
        if (prefix in measured.prefixes) if prefix else bare_allowed:
            flags = Flag.NONE
            for symbol, flag in FLAGS.items():
                if symbol in lit:
                    flags |= flag
            return Mode(measured.quantity, PREFIXES[prefix], flags, "degF" in lit)
    return None


def prefixes_of(quantity: Quantity, available: Collection[str] = ("n", "u", "m", "k", "M")) -> list[str]:
    """Those of a display's prefix symbols with which a quantity is shown, '' among them, smallest first."""
    for choices in _MEASURED.values():
        for measured in choices:
            if measured.quantity is quantity:
                bare = [] if quantity is Quantity.CAPACITANCE else [""]
                prefixes = [p for p in measured.prefixes if p in available]
                return sorted([*prefixes, *bare], key=PREFIXES.__getitem__)
    raise AssertionError(f"{quantity} has no symbols")


def symbols_of(reading: Reading, prefix: str) -> set[str]:
    """The symbols that a display lights for a reading.

    Raises:
        EncodeError: its flags have no symbol, or contradict its quantity.
    """
    for units, choices in _MEASURED.items():
        for measured in choices:
            if measured.quantity is reading.quantity:
                lit = set(units) | ({prefix} if prefix else set())
                if measured.coupling in ("ac", "dc"):
                    lit.add(measured.coupling)
                for symbol, flag in FLAGS.items():
                    if reading.flags & flag:
                        lit.add(symbol)
                if mode_of(lit) is None:
                    raise EncodeError(f"no display shows {reading.quantity} with the flags {reading.flags!r}")
                return lit
    raise AssertionError(f"{reading.quantity} has no symbols")


def choose_prefix(reading: Reading, most_decimals: int, digits: int) -> tuple[int, str]:
    """Choose how a display shows a reading: the power of ten of one count, and the prefix symbol.

    The smallest prefix that leaves 0 to `most_decimals` decimals; without a resolution, the finest that has room.

    Raises:
        EncodeError: no prefix does, or the reading belongs to a second column.
    """
    if reading.column:
        raise EncodeError("this display has one column")
    prefixes = prefixes_of(reading.quantity)
    if math.isnan(reading.resolution):
        exponents = sorted({PREFIXES[p] - d for p in prefixes for d in range(most_decimals + 1)})
        fits = [e for e in exponents if abs(reading.value) < (10**digits - 0.5) * 10.0**e]
        exponent = fits[0] if fits else exponents[-1]
    else:
        exponent = resolution_exponent(reading.resolution)
    for prefix in prefixes:
        if 0 <= PREFIXES[prefix] - exponent <= most_decimals:
            return exponent, prefix
    raise EncodeError(f"this display does not show {reading.quantity} with a resolution of {reading.resolution:g}")
