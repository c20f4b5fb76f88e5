"""Understands what a person types of a display: `12.34 V`, `OL kohm`, `-3.2 mA hold`, `230.1 V AC; 50.0 Hz`."""

from __future__ import annotations

import csv
import math
import re
from collections.abc import Iterable
from pathlib import Path
from typing import NamedTuple

from meterlog.errors import TableError
from meterlog.reading import Quantity
from meterlog.text.numbers import OVERLOAD_WORDS
from meterlog_drivers.display.shown import Shown
from meterlog_drivers.display.unit_words import UNIT_WORDS

_TEXT = re.compile(r"\s*(?P<sign>[-+\u2212]?)\s*(?P<number>[.,]?\d[\d.,]*|[^\W\d][\w.]*|[0O]?\.?L)(?P<rest>.*)")
_FLAG_WORDS = {
    "hold": "hold",
    "h": "hold",
    "rel": "relative",
    "relative": "relative",
    "delta": "relative",
    "min": "minimum",
    "max": "maximum",
    "bat": "low-battery",
    "batt": "low-battery",
    "battery": "low-battery",
    "auto": "auto",
}
"""Words for a display's symbols, as people type them."""
_KINDS = {
    "diode": Quantity.DIODE,
    "cont": Quantity.CONTINUITY,
    "continuity": Quantity.CONTINUITY,
    "beep": Quantity.CONTINUITY,
    "duty": Quantity.DUTY_CYCLE,
}
UNITS = {
    Quantity.DC_VOLTAGE: "dc V",
    Quantity.AC_VOLTAGE: "ac V",
    Quantity.DC_CURRENT: "dc A",
    Quantity.AC_CURRENT: "ac A",
    Quantity.RESISTANCE: "ohm",
    Quantity.CONTINUITY: "ohm beep",
    Quantity.DIODE: "V diode",
    Quantity.FREQUENCY: "Hz",
    Quantity.DUTY_CYCLE: "%",
    Quantity.CAPACITANCE: "F",
    Quantity.TEMPERATURE: "degC",
}
"""A profile's words for each quantity."""


class Label(NamedTuple):
    """Holds what a display showed.

    Attributes:
        text: as it was typed, without the second number.
        digits: without sign and point, leading zeros as typed; empty for an overload.
        decimals: digits after the point.
        minus, overload: whether it shows them.
        quantity: what is measured; volts and amperes without AC are DC.
        prefix: of the unit, as a power of ten.
        fahrenheit: the number is in degrees Fahrenheit.
        words: symbols beside the number, in a profile's words.
        second: the other number on the display, where one was typed.
    """

    text: str
    digits: str
    decimals: int
    minus: bool
    overload: bool
    quantity: Quantity
    prefix: int
    fahrenheit: bool
    words: frozenset[str]
    second: Label | None = None

    @property
    def typed(self) -> str:
        """All that was typed."""
        return f"{self.text}; {self.second.text}" if self.second else self.text

    @property
    def counts(self) -> int:
        """The number without its point and sign."""
        return int(self.digits or "0")

    def shows(self, shown: Shown) -> bool:
        """Tell whether a decoder's reading is what was typed, to the last digit; it may have more than the display."""
        if shown.quantity is not self.quantity:
            return False
        if self.overload or math.isinf(shown.value):
            return self.overload == math.isinf(shown.value)
        value = float(f"{'-' * self.minus}{self.counts}e{self.prefix - self.decimals}")
        count = 10.0 ** (self.prefix - self.decimals)
        if self.fahrenheit:
            value, count = (value - 32) * 5 / 9, count * 5 / 9
        alike = math.isclose(shown.resolution, count, rel_tol=1e-6)
        return abs(shown.value - value) < (0.01 if alike else 0.51) * count and shown.resolution < 1.001 * count


class Moment(NamedTuple):
    """A moment at which a person read the display.

    Attributes:
        time_s: when they said so, on the clock of the bytes' arrival, s; the display may have been read before.
        label: what it showed.
    """

    time_s: float
    label: Label


def parse_label(text: str) -> Label:
    """Understand what a person typed: one number, or the display's main number, a semicolon and the other one.

    Raises:
        TableError: it is not a number, or OL, with a unit.
    """
    first, semicolon, second = text.partition(";")
    label = _one_label(first)
    return label._replace(second=_one_label(second)) if semicolon else label


def _one_label(text: str) -> Label:
    match = _TEXT.fullmatch(text.strip())
    if match is None:
        raise _not_understood(text)
    number, words = match["number"], match["rest"].split()
    overload = re.sub(r"[.\s]", "", number).casefold() in OVERLOAD_WORDS
    if not overload and not re.fullmatch(r"\d*[.,]?\d+|\d+[.,]", number):
        raise _not_understood(text)
    spelt, flags, kind = [], set(), None
    for word in words:
        if word.casefold() in _FLAG_WORDS:
            flags.add(_FLAG_WORDS[word.casefold()])
        elif word.casefold() in _KINDS:
            kind = _KINDS[word.casefold()]
        else:
            spelt.append(word)
    unit = UNIT_WORDS.get("".join(spelt).replace("~", "AC"))
    if unit is None:
        raise _not_understood(text)
    if kind is not None and kind.unit != unit.quantity.unit:
        raise _not_understood(text)
    whole, _, part = number.replace(",", ".").partition(".")
    return Label(
        text.strip(),
        "" if overload else whole + part,
        0 if overload else len(part),
        match["sign"] in ("-", "\u2212"),
        overload,
        kind or unit.quantity,
        unit.exponent,
        unit.fahrenheit,
        frozenset(flags),
    )


def _not_understood(text: str) -> TableError:
    return TableError(
        f"'{text.strip()}' is not what a display shows: a number with its unit, such as '12.34 V', '-3.2 mA',"
        " '230.1 V AC', or 'OL kohm'; both where it shows two: '230.1 V AC; 50.0 Hz'"
    )


def read_moments(path: Path) -> list[Moment]:
    """Read a file of moments: CSV with the columns `time_s` and `shown`, in seconds from the capture's start.

    Raises:
        TableError: it cannot be read, lacks a column, or has a line that cannot be understood; with its line.
    """
    try:
        text = path.read_text("utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        why = error.strerror if isinstance(error, OSError) else "it is not text in UTF-8"
        raise TableError(f"'{path}' cannot be read: {why}") from error
    rows = csv.DictReader(text.splitlines())
    if not {"time_s", "shown"} <= set(rows.fieldnames or ()):
        raise TableError(f"{path} must have the columns time_s and shown, in its first line")
    return list(_moments(rows, path, rows))


def _moments(rows: Iterable[dict[str, str]], path: Path, reader: csv.DictReader[str]) -> Iterable[Moment]:
    for row in rows:
        line = reader.line_num
        try:
            time_s = float(row["time_s"] or "")
            if not math.isfinite(time_s):
                raise ValueError
        except ValueError:
            raise TableError(f"line {line} of {path}: '{row['time_s']}' is not a time in seconds", line) from None
        try:
            yield Moment(time_s, parse_label(row["shown"] or ""))
        except TableError as error:
            raise TableError(f"line {line} of {path}: {error}", line) from None
