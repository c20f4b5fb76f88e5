"""Units as people and meters write them, and what they are in the quantity's own unit."""

from __future__ import annotations

import re
from typing import NamedTuple

from meterlog.errors import TableError
from meterlog.reading import Quantity

PREFIXES = {"p": -12, "n": -9, "u": -6, "m": -3, "": 0, "k": 3, "M": 6}
"""Prefixes as they are shown, and their powers of ten (SI), smallest first."""

MICRO = ("u", "\N{MICRO SIGN}", "\N{GREEK SMALL LETTER MU}")
SPELT_PREFIXES = PREFIXES | dict.fromkeys(MICRO, PREFIXES["u"]) | {"K": PREFIXES["k"], "G": 9}
"""Prefixes as people and meters write them."""
SPELT_OUT = {
    "V": ("Volt", "volt", "VOLT", "Volts", "volts", "VOLTS", "Voltios", "voltios"),
    "A": (
        *("Ampere", "ampere", "AMPERE", "Amperes", "amperes", "Amp", "amp", "AMP", "Amps", "amps", "AMPS"),
        *("Ampère", "ampère", "Ampères", "ampères", "Amperios", "amperios"),
    ),
    "ohm": ("Ohmios", "ohmios"),
    "Hz": ("Hertz", "hertz", "HERTZ", "Hercios", "hercios"),
    "F": ("Farad", "farad", "FARAD", "Farads", "farads", "Faradios", "faradios"),
}
"""Units written as words: English and German, French, Spanish."""
_BASES = {word: base for base, words in SPELT_OUT.items() for word in words} | {
    "V": "V", "v": "V", "A": "A", "a": "A",
    "ohm": "ohm", "ohms": "ohm", "Ohm": "ohm", "Ohms": "ohm", "OHM": "ohm", "OHMS": "ohm",
    "\u03a9": "ohm", "\u2126": "ohm", "R": "ohm",
    "Hz": "Hz", "hz": "Hz", "HZ": "Hz",
    "F": "F",
    "%": "%", "pct": "%",
    "degC": "degC", "°C": "degC", "℃": "degC", "C": "degC", "celsius": "degC", "deg C": "degC", "° C": "degC",
    "degF": "degF", "°F": "degF", "℉": "degF", "fahrenheit": "degF", "deg F": "degF",
}  # fmt: skip
MILLI_OR_MEGA = ("MV", "MA", "mhz")
"""Often written in the wrong case: nobody measures megavolts here, or types millihertz in small letters."""
_MODES = re.compile(r"\s*(?:[ _]?(?:AC\+DC|DC|AC|dc|ac|RMS|rms))$")
_COUPLING_FIRST = re.compile(r"^(?:DC|AC|dc|ac)(?=[^\W_])")


class Unit(NamedTuple):
    """A unit as written.

    Attributes:
        base: `V`, `A`, `ohm`, `Hz`, `F`, `%`, `degC` or `degF`.
        exponent: the prefix as a power of ten.
    """

    base: str
    exponent: int

    @property
    def spelled(self) -> str:
        """With its prefix, for a person."""
        prefix = next((prefix for prefix, exponent in PREFIXES.items() if exponent == self.exponent), None)
        return f"{prefix}{self.base}" if prefix is not None else f"{self.base} times 1e{self.exponent}"

    def fits(self, quantity: Quantity) -> bool:
        """Tell whether values in this unit are values of that quantity."""
        return self.base == quantity.unit or (self.base == "degF" and quantity is Quantity.TEMPERATURE)


def find_unit(text: str, quantity: Quantity | None = None) -> Unit | None:
    """The unit that a text says, or None.

    Case counts, as SI has it: `mV` is millivolt. A `DC` or `AC` before or after it is passed over.

    Raises:
        TableError: one of `MILLI_OR_MEGA`: nobody can tell which was meant.
    """
    word = _COUPLING_FIRST.sub("", _MODES.sub("", text.strip()).strip())
    if word in MILLI_OR_MEGA:
        unit = _BASES[word[1:]]
        raise TableError(
            f"the unit '{word}' can be read as milli or as mega: say which with --unit m{unit} or --unit mega{unit}"
        )
    if word.startswith("mega") and (base := _BASES.get(word[4:])):
        return Unit(base, 6)
    if quantity is Quantity.TEMPERATURE and word in ("F", "C"):
        return Unit("degF" if word == "F" else "degC", 0)
    for length in (0, 1):
        base = _BASES.get(word[length:].strip())
        exponent = SPELT_PREFIXES.get(word[:length])
        if base and exponent is not None and not (length and base in ("%", "degC", "degF")):
            return Unit(base, exponent)
    return None


def is_unit(text: str) -> bool:
    """Tell whether a text says a unit, be it one that can be read in two ways."""
    try:
        return find_unit(text) is not None
    except TableError:
        return True


def named_unit(text: str, quantity: Quantity) -> Unit:
    """The unit of `--unit`.

    Raises:
        TableError: it is none that is known, or not one of the quantity.
    """
    unit = find_unit(text, quantity)
    if unit is None:
        raise TableError(f"'{text}' is no unit that is known here; {quantity} is given in {quantity.unit}, for example")
    if not unit.fits(quantity):
        raise TableError(f"the unit '{text}' is not one of {quantity}, which is given in {quantity.unit}")
    return unit


_HEADER_UNIT = re.compile(
    r"(?P<name>.*?)\s*(?:\[(?P<a>[^\]]+)\]|\((?P<b>[^)]+)\)|[/_](?P<c>[^/_ ]+)|,\s*(?P<d>[^, ]+))$"
)


def split_header(text: str, quantity: Quantity | None = None) -> tuple[str, str, Unit | None]:
    """A header cell as name, unit text and unit: `Voltage [mV]`, `U (V)`, `I/mA`, `feed_mV`; of time, as text only."""
    match = _HEADER_UNIT.fullmatch(text.strip())
    if match is None:
        return text.strip(), "", None
    word = next(group for group in match.group("a", "b", "c", "d") if group)
    unit = find_unit(word, quantity)
    if unit is None and not (word in TIME_UNITS or match["a"] or match["b"]):
        return text.strip(), "", None
    return match["name"], word, unit


TIME_UNITS = {
    "s": 1.0,
    "sec": 1.0,
    "seconds": 1.0,
    "ms": 1e-3,
    "us": 1e-6,
    "µs": 1e-6,
    "ns": 1e-9,
    "min": 60.0,
    "h": 3600.0,
    "d": 86_400.0,
}
"""Seconds in each."""


def header_name(text: str) -> str:
    """The name in a header cell, also where nobody can tell what its unit would be: `volts_MA` may be an average."""
    try:
        return split_header(text)[0]
    except TableError:
        return text.strip()


def guess_quantity(unit: Unit | None) -> Quantity | None:
    """The quantity, where the unit leaves one possibility."""
    if unit is None:
        return None
    fitting = {"Hz": Quantity.FREQUENCY, "%": Quantity.DUTY_CYCLE, "F": Quantity.CAPACITANCE}
    fitting |= {"degC": Quantity.TEMPERATURE, "degF": Quantity.TEMPERATURE}
    return fitting.get(unit.base)
