"""The spellings of units in text that meters send, and what each measures."""

from __future__ import annotations

from typing import NamedTuple

from meterlog.reading import Flag, Quantity
from meterlog.text.units import MICRO, PREFIXES, SPELT_OUT, SPELT_PREFIXES


class UnitWord(NamedTuple):
    """The meaning of one spelling.

    Attributes:
        quantity: what is measured; volts and amperes without AC are DC.
        exponent: the prefix as a power of ten.
        flags: AC or DC where the quantity has a coupling.
        fahrenheit: the number is in degrees Fahrenheit.
    """

    quantity: Quantity
    exponent: int = 0
    flags: Flag = Flag.NONE
    fahrenheit: bool = False


COUPLING = {
    Quantity.DC_VOLTAGE: Flag.DC,
    Quantity.DC_CURRENT: Flag.DC,
    Quantity.AC_VOLTAGE: Flag.AC,
    Quantity.AC_CURRENT: Flag.AC,
}
"""The flag that a quantity implies."""

_OHM = ("ohm", "Ohm", "OHM", "ohms", "Ohms", "OHMS", "\N{OHM SIGN}", "\N{GREEK CAPITAL LETTER OMEGA}")


def _words() -> dict[str, UnitWord]:
    words = {}
    for letter, dc, ac in (
        ("V", Quantity.DC_VOLTAGE, Quantity.AC_VOLTAGE),
        ("A", Quantity.DC_CURRENT, Quantity.AC_CURRENT),
    ):
        for prefix in ("n", *MICRO, "m", "", "k"):
            unit = prefix + letter
            for quantity, couplings in ((dc, ("", "DC", "dc")), (ac, ("AC", "ac"))):
                word = UnitWord(quantity, SPELT_PREFIXES[prefix], COUPLING[quantity])
                words.update({spelt: word for c in couplings for spelt in (unit + c, c + unit)})
        for spelt_out in SPELT_OUT[letter]:
            for prefix in ("m", ""):
                for quantity, couplings in ((dc, ("", "DC", "dc")), (ac, ("AC", "ac"))):
                    word = UnitWord(quantity, SPELT_PREFIXES[prefix], COUPLING[quantity])
                    words.update({prefix + spelt_out + c: word for c in couplings})
    for spelling in (*_OHM, *SPELT_OUT["ohm"]):
        for prefix in ("m", "", "k", "K", "M"):
            words[prefix + spelling] = UnitWord(Quantity.RESISTANCE, SPELT_PREFIXES[prefix])
    for prefix in ("", "k", "K", "M"):
        for hertz in ("Hz", "HZ", *SPELT_OUT["Hz"]):
            words[prefix + hertz] = UnitWord(Quantity.FREQUENCY, SPELT_PREFIXES[prefix])
    for prefix in ("p", "n", *MICRO, "m", ""):
        for farad in ("F", *SPELT_OUT["F"]):
            words[prefix + farad] = UnitWord(Quantity.CAPACITANCE, SPELT_PREFIXES[prefix])
    words["%"] = UnitWord(Quantity.DUTY_CYCLE)
    for celsius in ("degC", "\N{DEGREE SIGN}C", "C"):
        words[celsius] = UnitWord(Quantity.TEMPERATURE)
    for fahrenheit in ("degF", "\N{DEGREE SIGN}F"):
        words[fahrenheit] = UnitWord(Quantity.TEMPERATURE, fahrenheit=True)
    return words


UNIT_WORDS = _words()
"""Spellings without spaces. 'C' alone is Celsius, 'F' alone is farad: SI has it so."""


def spelling(quantity: Quantity, exponent: int) -> str | None:
    """The plain ASCII spelling of a unit with a prefix, as an encoder writes it; None where there is none."""
    prefix = next((prefix for prefix, power in PREFIXES.items() if power == exponent), None)
    if prefix is None:
        return None
    unit = prefix + {"duty_cycle": "%"}.get(quantity, quantity.unit)
    word = UNIT_WORDS.get(unit)
    if word is None or word.quantity.unit != quantity.unit:
        return None
    return unit + ("AC" if COUPLING.get(quantity) is Flag.AC else "")
