"""Guesses what each column of a table is, from its title and its first cells; a person confirms or corrects it."""

from __future__ import annotations

import re
from collections.abc import Sequence
from itertools import pairwise
from typing import NamedTuple

from meterlog.errors import TableError
from meterlog.exchange.table.grid import Grid
from meterlog.exchange.table.looks import Look, has_word, look, unlabelled
from meterlog.exchange.table.text_rows import split_line, with_units
from meterlog.exchange.table.time_text import has_time_unit, split_date
from meterlog.exchange.table.time_unit import header_time_unit, header_words, is_row_count
from meterlog.reading import Quantity
from meterlog.text.units import TIME_UNITS, Unit, find_unit, split_header

_TIME_WORDS = frozenset(
    (
        *(
            "time",
            "times",
            "timestamp",
            "stamp",
            "t",
            "date",
            "datetime",
            "clock",
            "elapsed",
            "epoch",
            "utc",
            "zeit",
            "uhrzeit",
        ),
        *("datum", "zeitstempel", "temps", "heure", "tempo", "hora", "fecha", "tiempo", "czas", "tid", "tijd", "x"),
        *("время", "时间", "時間", "時刻", "시간"),
    )
)
_CHANNEL_WORDS = frozenset(("channel", "sensor", "signal", "variable", "parameter", "name", "item", "what", "point"))
_STATE_WORDS = frozenset(("state", "status", "relay", "ignition", "mode", "key", "switch", "flag", "on", "enabled"))
_AC_WORDS = frozenset(("ac", "rms", "vac", "aac"))
_AC_UNIT = re.compile(r"(?:ac|rms|~)\s*$", re.IGNORECASE)
_DUTY_WORDS = frozenset(("duty", "pwm", "tastgrad"))
_QUANTITY_WORDS = {
    Quantity.DC_VOLTAGE: (
        *("voltage", "volt", "volts", "spannung", "tension", "tensión", "tensione", "battery", "supply", "v"),
        *("u", "ubat", "ubatt", "vbat", "vbatt", "vcc", "напряжение", "电压", "電圧", "电池"),
    ),
    Quantity.DC_CURRENT: (
        "current",
        "amps",
        "amp",
        "strom",
        "courant",
        "corriente",
        "corrente",
        "i",
        "a",
        "ток",
        "电流",
    ),
    Quantity.RESISTANCE: ("resistance", "ohm", "ohms", "widerstand", "résistance"),
    Quantity.TEMPERATURE: ("temperature", "temp", "temperatur", "température", "temperatura"),
    Quantity.FREQUENCY: ("frequency", "freq", "frequenz", "hertz"),
}
_BY_UNIT = {"V": Quantity.DC_VOLTAGE, "A": Quantity.DC_CURRENT, "ohm": Quantity.RESISTANCE, "Hz": Quantity.FREQUENCY}
_BY_UNIT |= {"F": Quantity.CAPACITANCE, "%": Quantity.DUTY_CYCLE}
_BY_UNIT |= {"degC": Quantity.TEMPERATURE, "degF": Quantity.TEMPERATURE}
_ALTERNATING = {Quantity.DC_VOLTAGE: Quantity.AC_VOLTAGE, Quantity.DC_CURRENT: Quantity.AC_CURRENT}

_MOST_STATES = 12
"""More different words are no states. A guess."""
_RISES_OVER_FALLS = 3
"""So many steps up for each one down are a clock, which may begin again. A guess."""
_SPARSE = 0.5
"""Words on less than this share of the rows are notes, on more of them states. A guess."""
_CELL_UNIT = re.compile(r"[-+]?[\d.,]+(?:[eE][-+]?\d+)?\s*(?P<unit>[^\d\s.,+\-][^\d]{0,9})")


ANOTHER_TIME = "another time"
"""Why a second column of times is left out."""


class Guess(NamedTuple):
    """Holds what a column seems to be.

    Attributes:
        place: from 0.
        name: its title, or its number where it has none of its own.
        role: `time`, `value`, `unit`, `state`, `marker`, `channel`, or nothing.
        quantity: of a column of values.
        unit: of its numbers as the table writes it; nothing where it does not say.
        why: for a person: what it shows, or why it is left out.
    """

    place: int
    name: str
    role: str = ""
    quantity: Quantity | None = None
    unit: str = ""
    why: str = ""


def guess_columns(grid: Grid, lines: Sequence[tuple[int, str]]) -> list[Guess]:
    """Guess every column of a grid, from the first lines of the file."""
    rows = [split_line(line, grid.delimiter) for number, line in lines if number > grid.header_line and line.strip()]
    rows = [row for row in rows if len(row) > max(grid.usual)]
    columns = [
        [unlabelled(row[place], grid.labels[place]).strip() if place < len(row) else "" for row in rows]
        for place in range(grid.width)
    ]
    for value, unit in grid.units:
        columns[value] = with_units(columns[value], columns[unit])
    names = [
        title if title and grid.titles.count(title) == 1 and not title.isdecimal() else str(place + 1)
        for place, title in enumerate(grid.titles)
    ]
    times = _times(grid, columns)
    guesses = [_guess(place, names, times, grid, column) for place, column in enumerate(columns)]
    return _by_channel(guesses, grid)


def _guess(place: int, names: Sequence[str], times: Sequence[int], grid: Grid, cells: Sequence[str]) -> Guess:
    if place in times:
        return Guess(place, names[place], "time")
    for value, unit in grid.units:
        if place == unit:
            return Guess(place, names[place], "unit", why=f"the units of '{names[value]}'")
    return _other(place, names[place], grid, cells)


def _times(grid: Grid, columns: Sequence[Sequence[str]]) -> list[int]:
    """The columns of the time: one, or a date and a clock."""
    stamped = [place for place in sorted(grid.usual) if _share(columns[place], Look.TIME) > _SPARSE]
    for place in stamped:
        day, rest = split_date(next((cell for cell in columns[place] if cell), ""))
        if day and not rest and (others := [other for other in stamped if other != place]):
            return [place, min(others, key=lambda other: abs(other - place))]
    named = [
        place
        for place in sorted(grid.usual)
        if (is_time_title(grid.titles[place]) and _is_monotonic(columns[place]))
        or _share(columns[place], None) > _SPARSE
    ]
    if stamped or named:
        return [min(stamped + named)]
    first = min(grid.usual)
    if len(grid.usual) > 1 and (is_row_count(grid.titles[first]) or not grid.titles[first]) and _rises(columns[first]):
        return [first]
    return []


def is_time_title(title: str) -> bool:
    """Tell whether a header cell names a time."""
    return not _TIME_WORDS.isdisjoint(header_words(title)) or header_time_unit(title) is not None


def _is_monotonic(cells: Sequence[str]) -> bool:
    """Tell whether most cells are numbers that go up, or most of them down: then the newest row comes first."""
    return _rises(cells) or _rises(cells[::-1])


def _rises(cells: Sequence[str]) -> bool:
    """Tell whether the numbers go up, or stand still and go up: several rows may share a stamp."""
    try:
        numbers = [float(cell.replace(",", ".")) for cell in cells if look(cell) is Look.NUMBER]
    except ValueError:
        return False
    steps = [b - a for a, b in pairwise(numbers)]
    return sum(step > 0 for step in steps) > _RISES_OVER_FALLS * sum(step < 0 for step in steps)


def _share(cells: Sequence[str], kind: Look | None) -> float:
    """The share of the cells that have a look; without one, that are numbers with a unit of time."""
    if not cells:
        return 0.0
    return sum(look(cell) is kind if kind else has_time_unit(cell) for cell in cells) / len(cells)


def _other(place: int, name: str, grid: Grid, cells: Sequence[str]) -> Guess:
    title = grid.titles[place]
    filled = [cell for cell in cells if look(cell) is not Look.BLANK]
    words = set(filled)
    if not filled:
        return Guess(place, name, why="empty")
    if _share(filled, Look.TIME) > _SPARSE:
        return Guess(place, name, why=ANOTHER_TIME)
    if _share(filled, Look.NUMBER) <= _SPARSE:
        if len(filled) <= _SPARSE * len(cells) and not any(cells[len(filled) :]):
            return Guess(place, name, why="words beside the first rows only")
        if len(filled) <= _SPARSE * len(cells):
            return Guess(place, name, "marker", why="words on some rows")
        if not any(map(has_word, filled)):
            odd = next(cell for cell in filled if look(cell) is not Look.NUMBER)
            return Guess(place, name, why=f"'{odd:.40}' is no number that is known")
        if len(words) <= _MOST_STATES:
            return Guess(place, name, "state", why=", ".join(sorted(words)))
        return Guess(place, name, why=f"words, as '{filled[0]:.40}'")
    stated = not _STATE_WORDS.isdisjoint(header_words(title))
    if words <= {"0", "1"} and (stated or len(grid.usual) > 2):
        return Guess(place, name, "state", why="0 and 1")
    return _value(place, name, title, filled)


def _value(place: int, name: str, title: str, cells: Sequence[str]) -> Guess:
    """A column of numbers: its quantity by the unit that header or cells state, else by its name."""
    word, unit = _unit_of(title, cells)
    if word in TIME_UNITS or (is_time_title(title) and not word and _is_monotonic(cells)):
        return Guess(place, name, why=ANOTHER_TIME)
    if word and unit is None:
        return Guess(place, name, why=f"numbers in {word}, which no meter shows")
    if is_row_count(title):
        return Guess(place, name, why="counts rows")
    words = header_words(title)
    if unit is not None and unit.base == "%" and _DUTY_WORDS.isdisjoint(words):
        return Guess(place, name, why="a share, and nothing says that it is a duty cycle")
    if unit is not None:
        quantity = _BY_UNIT.get(unit.base)
    else:
        quantity = next((q for q, known in _QUANTITY_WORDS.items() if not set(known).isdisjoint(words)), None)
    if quantity in _ALTERNATING and (not _AC_WORDS.isdisjoint(words) or _AC_UNIT.search(word)):
        quantity = _ALTERNATING[quantity]
    return Guess(place, name, "value", quantity, word)


def _unit_of(title: str, cells: Sequence[str]) -> tuple[str, Unit | None]:
    """The unit as header or cells write it, and as a meter's unit."""
    try:
        _, word, unit = split_header(title)
        if word:
            return word, unit
        match = next((match for cell in cells if (match := _CELL_UNIT.fullmatch(cell))), None)
        return (match["unit"], find_unit(match["unit"])) if match else ("", None)
    except TableError:
        return "", None


def _by_channel(guesses: list[Guess], grid: Grid) -> list[Guess]:
    """A column of words names the channel of each row where its title says so and one column holds the values."""
    values = [guess for guess in guesses if guess.role == "value"]
    naming = [
        guess for guess in guesses
        if guess.role == "state" and not _CHANNEL_WORDS.isdisjoint(header_words(grid.titles[guess.place]))
    ]  # fmt: skip
    if len(values) != 1 or len(naming) != 1:
        return guesses
    return [guess._replace(role="channel") if guess in naming else guess for guess in guesses]
