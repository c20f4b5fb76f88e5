"""The meaning of a line of text: a text profile, read from TOML, that turns lines into columns and back.

| key | meaning |
|---|---|
| `kind = "text"` | always |
| `about` | one line for lists |
| `lines` | line settings, the commonest first: `["9600 8N1"]` |
| `ending` | what the encoder ends a line with; any of CR, LF, CRLF is read. Default CR LF |
| `separator` | between columns; without it a line is one column |
| `fewer` | a line may have fewer columns than the profile. Default false |
| `decimal` | the decimal sign, `.` or `,`. Default `.` |
| `overload` | the words that mean overload |
| `[[column]]` | one a column, in order: |
| `quantity`, `unit` | what its numbers are, when the line does not say; the unit defaults to the quantity's own |
| `pattern` | a regular expression for the column's whole text, in which `{number}` and `{unit}` stand for those |
| `write` | what the encoder writes, with `{number}` and `{unit}`; needed to emulate a meter with a `pattern` |
| `skip` | true for a column that is not a reading (a clock, a counter); it may have a `pattern` that it must fit |
| `taught` | true: written by `meterlog meters --teach`; units are those of `[units]` alone |
| `verified_on` | when it was compared with the meter's display |
| `[units]` | further spellings: `"volts" = { quantity = "dc_voltage", exponent = 0 }`; `""` where `{unit}` is absent |
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from decimal import Decimal
from typing import NamedTuple, Protocol

from meterlog.address import Address
from meterlog.errors import AddressError, EncodeError
from meterlog.reading import Flag, Quantity, Reading
from meterlog.transports import LineSettings
from meterlog_drivers.display.decimals import celsius, counts_at, resolution_exponent
from meterlog_drivers.display.shown import Shown
from meterlog_drivers.display.unit_words import COUPLING, UNIT_WORDS, UnitWord, spelling
from meterlog_drivers.profiles.profile_file import Table, read_profile
from meterlog_drivers.profiles.profile_lines import profile_lines

_NUMBER = r"(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d{1,2})?"
_QUANTITIES = [q.value for q in Quantity]

MOST_PATTERN_BYTES = 2**20
"""Memory that a pattern may take compiled; the longest shipped one takes some 50 kB."""


class Found(Protocol):
    """A text that a pattern fits."""

    def group(self, *names: str) -> tuple[str, ...]:
        """The text of each named part."""
        ...


class Pattern(Protocol):
    """A compiled pattern of a linear-time engine: whatever a stranger's profile says, no line takes long."""

    def fullmatch(self, text: str) -> Found | None:
        """Fit the whole text, or nothing."""
        ...


class Column(NamedTuple):
    """One column of a line.

    Attributes:
        word: what its numbers are when the line has no unit; None where the line must say.
        fixed: the quantity it is whatever the unit's spelling suggests; None where the spelling decides.
        pattern: matches the column's whole text; groups `sign`, `number`, `unit`, unless it is skipped.
        write: the encoder's template; '' where there is none.
        skip: not a reading.
    """

    word: UnitWord | None
    fixed: Quantity | None
    pattern: Pattern
    write: str
    skip: bool


@dataclass(frozen=True)
class TextProfile:
    """The meaning of a text meter's lines."""

    about: str
    lines: tuple[LineSettings, ...]
    ending: str
    separator: str
    fewer: bool
    decimal: str
    overload: tuple[str, ...]
    columns: tuple[Column, ...]
    units: dict[str, UnitWord]
    taught: bool
    verified_on: str

    def parse(self, line: str) -> tuple[Shown, ...] | None:
        """Read a line: a `Shown` for each column with a number; None where it is not such a line."""
        cells = line.split(self.separator) if self.separator else [line]
        if len(cells) > len(self.columns) or (len(cells) < len(self.columns) and not self.fewer):
            return None
        shown = []
        for number, (cell, column) in enumerate(zip(cells, self.columns, strict=False)):
            cell = cell.strip()
            if column.skip and column.pattern.fullmatch(cell) is None:
                return None
            if column.skip or not cell:
                continue
            one = self._cell(cell, column, number)
            if one is None:
                return None
            shown.append(one)
        return tuple(shown) or None

    def _cell(self, cell: str, column: Column, number: int) -> Shown | None:
        match = column.pattern.fullmatch(cell)
        if match is None:
            return None
        sign, digits, unit = match.group("sign", "number", "unit")
        word = self._word(unit.replace(" ", "") if unit else "", column)
        if word is None:
            return None
        if digits in self.overload:
            value = -math.inf if sign == "-" else math.inf
            return Shown(value, word.quantity, math.nan, word.flags | Flag.OVERLOAD, number)
        mantissa, _, power = digits.replace(self.decimal, ".").lower().partition("e")
        whole, _, part = mantissa.partition(".")
        exponent = word.exponent + int(power or 0)
        counts = f"{sign}{whole}{part}"
        if word.fahrenheit:
            least = 10.0 ** (exponent - len(part)) * 5 / 9
            value = celsius(int(counts), exponent - len(part))
        else:
            least = float(f"1e{exponent - len(part)}")
            value = float(f"{counts}e{exponent - len(part)}")
        return Shown(value, word.quantity, least, word.flags, number)

    def _word(self, unit: str, column: Column) -> UnitWord | None:
        if not unit and column.word is not None:
            return column.word
        word = self.units.get(unit)
        if word is None or column.fixed in (None, word.quantity):
            return word
        fits = column.fixed is not None and column.fixed.unit == word.quantity.unit
        return word._replace(quantity=column.fixed, flags=COUPLING.get(column.fixed, Flag.NONE)) if fits else None

    def write(self, readings: list[Reading]) -> str:
        """The line that shows these readings, with its ending.

        Raises:
            EncodeError: the profile has no such column, or no way to say it.
        """
        for reading in readings:
            if reading.flags & ~(COUPLING.get(reading.quantity, Flag.NONE) | Flag.OVERLOAD):
                raise EncodeError(f"a line of text has no words for the flags {reading.flags!r}")
        by_column = {r.column: r for r in readings}
        if len(by_column) < len(readings) or not readings:
            raise EncodeError("a line of text shows one reading a column")
        last = max(by_column) if self.fewer else len(self.columns) - 1
        if max(by_column) >= len(self.columns):
            raise EncodeError(f"the profile has {len(self.columns)} columns, not {max(by_column) + 1}")
        cells = [self._write(by_column.get(n), self.columns[n]) for n in range(last + 1)]
        return self.separator.join(cells) + self.ending

    def _write(self, reading: Reading | None, column: Column) -> str:
        if reading is None:
            return ""
        if column.skip or not column.write:
            raise EncodeError("the profile does not say how to write that column: add the key write")
        if "{unit}" in column.write:
            if column.fixed not in (None, reading.quantity):
                raise EncodeError(f"that column shows {column.fixed}, not {reading.quantity}")
            choices = [e for e in range(-12, 7, 3) if spelling(reading.quantity, e) is not None]
            if reading.quantity in (Quantity.DIODE, Quantity.CONTINUITY) and column.fixed is None:
                raise EncodeError(f"the unit alone does not say {reading.quantity}")
        elif column.word is None or column.word.quantity is not reading.quantity or column.word.fahrenheit:
            raise EncodeError(f"that column does not show {reading.quantity}")
        else:
            choices = [column.word.exponent]
        number, exponent = self._number(reading, choices)
        return column.write.replace("{number}", number).replace("{unit}", spelling(reading.quantity, exponent) or "")

    def _number(self, reading: Reading, choices: list[int]) -> tuple[str, int]:
        """The number's text and the power of ten of the unit that it is in."""
        if math.isinf(reading.value):
            if not self.overload:
                raise EncodeError("the profile names no overload words")
            return ("-" if reading.value < 0 else "") + self.overload[0], min(choices, key=abs)
        if math.isnan(reading.resolution):
            unit = min(choices, key=abs)
            text = f"{Decimal(repr(reading.value)).scaleb(-unit):f}"
        else:
            exponent = resolution_exponent(reading.resolution)
            fits = [e for e in choices if e >= exponent] or choices[:1]
            large = [e for e in fits if abs(reading.value) >= 10.0**e]
            unit = large[-1] if large else fits[0]
            counts, decimals = counts_at(reading.value, exponent), unit - exponent
            digits = f"{abs(counts):0{max(0, decimals) + 1}d}"
            text = f"{digits[: len(digits) - decimals]}.{digits[len(digits) - decimals :]}" if decimals > 0 else digits
            text = ("-" if counts < 0 else "") + text + (f"e{-decimals}" if decimals < 0 else "")
        return text.replace(".", self.decimal), unit


def text_profile(address: Address) -> TextProfile:
    """The profile that an address names by `profile=`, with the `quantity=` and `unit=` it gives for the columns.

    Without `profile`, lines are `value unit`, or bare numbers where the address says what they are.

    Raises:
        ProfileError: the profile is wrong.
        AddressError: the quantities or units do not fit its columns.
    """
    given = {k: address.options[k].split(",") for k in ("quantity", "unit") if k in address.options}
    default = ("number", "two-column")[max(map(len, given.values())) > 1] if given else "value-unit"
    profile = read_profile(address.options.get("profile", default), "text")
    overload = profile.texts("overload", [])
    extra, taught = profile.table("units"), profile.yes("taught", False)
    units = {} if taught and extra.values else dict(UNIT_WORDS)
    for unit in extra.items():
        row = extra.table(unit)
        quantity = Quantity(row.text("quantity", choices=_QUANTITIES))
        units[unit.replace(" ", "")] = UnitWord(
            quantity,
            row.integer("exponent", 0, -15, 12),
            COUPLING.get(quantity, Flag.NONE),
            row.yes("fahrenheit", False),
        )
        row.finish()
    decimal = profile.text("decimal", ".", (".", ","))
    tables = profile.tables("column")
    if not tables:
        raise profile.error("the profile needs at least one [[column]]")
    for option, values in given.items():
        if len(values) > len(tables):
            raise AddressError(
                f"in '{address}' the option {option} names {len(values)} columns; the profile has {len(tables)}"
            )
    columns = []
    for number, table in enumerate(tables):
        asked = {option: values[number] for option, values in given.items() if number < len(values)}
        columns.append(_column(table, address, asked, units, overload, decimal))
    result = TextProfile(
        about=profile.text("about", ""),
        lines=profile_lines(profile),
        ending=profile.text("ending", "\r\n", ("\r\n", "\n", "\r")),
        separator=profile.text("separator", ""),
        fewer=profile.yes("fewer", False),
        decimal=decimal,
        overload=tuple(overload),
        columns=tuple(columns),
        units=units,
        taught=taught,
        verified_on=profile.text("verified_on", ""),
    )
    if len(columns) > 1 and (not result.separator or result.separator == decimal):
        raise profile.error("several columns need a separator other than the decimal sign", "separator")
    profile.finish()
    return result


def _column(
    table: Table, address: Address, asked: dict[str, str], units: dict[str, UnitWord], overload: list[str], decimal: str
) -> Column:
    skip = table.yes("skip", False)
    quantity = table.text("quantity", "", [*_QUANTITIES, ""]) or None
    unit = table.text("unit", "")
    if asked.get("quantity"):
        quantity, unit = asked["quantity"], ""
        if quantity not in _QUANTITIES:
            raise AddressError(f"in '{address}' the quantity must be one of {', '.join(_QUANTITIES)}, not '{quantity}'")
    if asked.get("unit"):
        unit = asked["unit"]
    fixed = Quantity(quantity) if quantity else None
    word = units.get(unit.replace(" ", "")) if unit else (UnitWord(fixed) if fixed else None)
    if unit and (word is None or (fixed is not None and word.quantity.unit != fixed.unit)):
        message = f"the unit '{unit}' is not known" if word is None else f"the unit '{unit}' does not fit {fixed}"
        raise AddressError(f"in '{address}' {message}") if asked.get("unit") else table.error(message, "unit")
    if word is not None:
        measured = fixed or word.quantity
        word = word._replace(quantity=measured, flags=COUPLING.get(measured, Flag.NONE))
    pattern = table.text("pattern", ".*" if skip else "{number}" if word else r"{number}\s*{unit}")
    write = table.text("write", "" if table.has("pattern") else "{number}" if word else "{number} {unit}")
    if write and write.count("{number}") != 1:
        raise table.error("write must have {number} once", "write")
    table.finish()
    full = pattern if skip else _full_pattern(pattern, units, overload, decimal, table)
    return Column(word, fixed, _compiled(full, table), write, skip)


def _full_pattern(pattern: str, units: dict[str, UnitWord], overload: list[str], decimal: str, table: Table) -> str:
    """A pattern with what `{number}` and `{unit}` stand for."""
    words = "|".join(re.escape(w) for w in sorted(overload, key=len, reverse=True))
    number = _NUMBER.replace(r"\.", re.escape(decimal))
    spelt = "|".join(r"\s*".join(map(re.escape, u)) for u in sorted(units, key=len, reverse=True))
    if pattern.count("{number}") != 1 or pattern.count("{unit}") > 1:
        raise table.error("pattern must have {number} once and {unit} at most once", "pattern")
    full = pattern.replace("{number}", rf"(?P<sign>[-+]?)\s*(?P<number>{words + '|' if words else ''}{number})")
    return full.replace("{unit}", rf"(?P<unit>{spelt})") if "{unit}" in full else full + "(?P<unit>)"


def _compiled(full: str, table: Table) -> Pattern:
    import re2  # on first use: a profile in TOML is asked for, and starting without one is quicker

    options = re2.Options()
    options.max_mem, options.log_errors = MOST_PATTERN_BYTES, False
    try:
        compiled: Pattern = re2.compile(full, options)
    except re2.error as error:
        said = error.args[0] if error.args else error
        said = said.decode(errors="replace") if isinstance(said, bytes) else said
        raise table.error(f"pattern is not a regular expression that this engine accepts: {said}", "pattern") from error
    return compiled
