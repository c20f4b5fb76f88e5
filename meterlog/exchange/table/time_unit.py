"""Finds the unit of times that are numbers: from the option, the header, or the numbers themselves, else it asks."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import date
from typing import NamedTuple

import numpy as np

from meterlog.exchange.table.question import Question
from meterlog.text.units import TIME_UNITS, split_header

_WORDS = {
    "s": ("sec", "secs", "second", "seconds", "sekunden", "secondes", "segundos", "secondi"),
    "ms": ("ms", "msec", "msecs", "millis", "milli", "millisecond", "milliseconds", "millisekunden"),
    "us": ("us", "µs", "usec", "usecs", "micros", "microsecond", "microseconds"),
    "ns": ("ns", "nsec", "nanos", "nanosecond", "nanoseconds"),
    "min": ("mins", "minute", "minutes", "minuten"),
    "h": ("hour", "hours", "hrs", "stunden"),
    "d": ("days", "tage", "jours", "giorni"),
}
"""Words that a header has for each unit, besides its symbol in brackets."""
_UNIT_OF = {word: unit for unit, words in _WORDS.items() for word in words}
_OF_THE_DAY = re.compile(r"today|midnight|of[ _]?(the[ _]?)?day|\btod\b|daytime", re.IGNORECASE)
_COUNTING = frozenset(
    (
        "sample",
        "samples",
        "index",
        "idx",
        "count",
        "counter",
        "scan",
        "row",
        "record",
        "point",
        "nr",
        "no",
        "number",
        "id",
    )
)

_EPOCH_FROM, _EPOCH_TO = 1e9, 3e9
"""Seconds since 1970 in September 2001 and in the year 2065: what an epoch is taken for. Seconds since 1904 or 1900 are
more."""
_EPOCHS = (("seconds", 1.0), ("milliseconds", 1e-3), ("microseconds", 1e-6), ("nanoseconds", 1e-9))
_SERIAL_FROM, _SERIAL_TO = 29_000.0, 62_000.0
"""Days since 30 December 1899, as spreadsheets count them, in 1979 and in 2069."""
_LONGEST_STEP_S = 5.0
"""Numbers with decimals and longer steps than this are hardly seconds. A guess."""
_FAR, _FINE_STEP = 1e5, 1e-3
"""Numbers beyond the one in steps below the other are hardly seconds either, but days since a year 0. A guess."""
_DAYS_FROM_FAR = 36_600.0
"""So many days count from no session's start but from a year 0 or from the beginning of the Julian calendar."""
_SERIAL_ZERO = (date(1970, 1, 1) - date(1899, 12, 30)).days
_BRACKETED = re.compile(r"[\[(]\s*[^\])]+[\])]")

SERIAL = "serial"
"""The word of `--time-unit` for days as spreadsheets count them."""
UNIT_CHOICES = (*TIME_UNITS, SERIAL)


class NumberKind(NamedTuple):
    """Holds what numbers in a time column are.

    Attributes:
        unit: for a person.
        scale: s in one.
        since_1970: whether they count from 1970.
        daily: whether they count from midnight.
        serial: whether they count days from 30 December 1899.
        zero: where the axis begins, in that unit.
    """

    unit: str
    scale: float
    since_1970: bool = False
    daily: bool = False
    serial: bool = False
    zero: float = 0.0


def header_words(title: str) -> list[str]:
    """The words of a header cell in small letters; `timeMs` has two."""
    return re.findall(r"[^\W\d_]+", re.sub(r"(?<=[a-z])(?=[A-Z])", " ", title).casefold())


def is_row_count(title: str) -> bool:
    """Tell whether a header cell names a count of rows."""
    return not _COUNTING.isdisjoint(header_words(title))


def header_time_unit(title: str) -> str | None:
    """The unit of time that a header cell states; None where it states none."""
    word = split_header(title)[1]
    if word in TIME_UNITS:
        return word
    units = {_UNIT_OF[word] for word in header_words(title) if word in _UNIT_OF}
    return units.pop() if len(units) == 1 else None


def number_kind(numbers: Sequence[float], whole: bool, title: str, option: str | None) -> NumberKind:
    """Tell what the numbers of a time column are.

    Args:
        numbers: the first of them, in the order of the file.
        whole: whether none of them shows a decimal.
        title: the header cell.
        option: as given by `--time-unit`.

    Raises:
        Question: neither header nor numbers leave one possibility.
    """
    first = abs(numbers[0])
    daily = _OF_THE_DAY.search(title) is not None
    if option == SERIAL:
        return NumberKind("days since 30 December 1899", 86_400.0, serial=True, zero=_SERIAL_ZERO)
    stated = option or header_time_unit(title)
    if stated is not None:
        scale = TIME_UNITS[stated]
        if stated == "d" and first > _DAYS_FROM_FAR:
            return NumberKind("days from the first one on", scale, zero=int(numbers[0]))
        return NumberKind(stated, scale, since_1970=_EPOCH_FROM <= first * scale < _EPOCH_TO, daily=daily)
    for name, scale in _EPOCHS:
        if _EPOCH_FROM <= first * scale < _EPOCH_TO:
            return NumberKind(name, scale, since_1970=True)
    step = float(np.median(np.diff(np.unique(numbers)))) if len(set(numbers)) > 1 else 0.0
    serial = _SERIAL_FROM < first < _SERIAL_TO
    far = first >= _EPOCH_FROM or (first > _FAR and 0.0 < step < _FINE_STEP)
    other_unit = _BRACKETED.search(title) is not None
    if whole or serial or far or other_unit or step > _LONGEST_STEP_S or is_row_count(title):
        raise _unit_question(numbers, step, title)
    return NumberKind("seconds", 1.0)


def _unit_question(numbers: Sequence[float], step: float, title: str) -> Question:
    shown = ", ".join(f"{number:.15g}" for number in numbers[:3])
    start = f"the column '{title}' ({shown}, ...) does not say what its numbers count"
    rows = "where it counts rows, the time between two with --interval S"
    if is_row_count(title):
        return Question(f"{start}: give {rows}, else its unit with --time-unit s or ms", "interval")
    if _SERIAL_FROM < abs(numbers[0]) < _SERIAL_TO and step < 1.0:
        choices: tuple[str, ...] = (SERIAL, "s", "ms")
        start += " (days as spreadsheets count them, or units of a session's time)"
    else:
        choices = ("ms", "s", "us", "min") if step >= _LONGEST_STEP_S else ("s", "ms", "min", "us")
        if abs(numbers[0]) > _FAR and step < _FINE_STEP:
            choices = ("d", "s", "ms")
    units = " or ".join(f"--time-unit {unit}" for unit in choices)
    return Question(f"{start}: give {units}; {rows}", "time_unit", choices)
