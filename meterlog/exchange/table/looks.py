"""Says what a cell looks like at first sight: a number, a time, nothing, or text; and the label that stands before
it."""

from __future__ import annotations

import re
from collections.abc import Sequence
from enum import Enum
from functools import lru_cache

from meterlog.exchange.table.time_pattern import patterns_of
from meterlog.exchange.table.time_text import split_date, without_zone_name
from meterlog.text.numbers import BLANK_WORDS, is_overload_word
from meterlog.text.units import TIME_UNITS, is_unit


class Look(Enum):
    """The kinds of cells."""

    NUMBER = "number"
    TIME = "time"
    BLANK = "blank"
    TEXT = "text"


_NUMBER = re.compile(
    r"[-+\u2212]?\s?(?:\d{1,3}(?:[.,'\u2019\s\u00a0\u202f]\d{3})+(?:[.,]\d*)?|\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][-+]?\d{1,4})?"
    r"\s*(?P<unit>[^\d\s.,+\-][^\d.,+\-]{0,9})?"
)
_CLOCK = re.compile(
    r"[-+]?\d{1,3}:\d{1,2}(?::\d{1,2}(?:[.,:]\d+)?|[.,]\d+)?\s*(?:[AaPp]\.?[Mm]\.?|Z|[-+]\d{2}(?::?\d{2})?)?"
)
_AFTER_DATE = re.compile(r"[-_T\d:.,\s+]*(?:[AaPp]\.?\s?[Mm]\.?|Z|UTC|GMT)?")
_WORDED_DURATION = re.compile(
    r"[-+]?(?:\d+\s*d(?:ays?)?,?\s*)\d{1,2}:\d{2}(?::\d{2}(?:[.,]\d+)?)?|P(?:\d+D)?T[\dHMS.,]+"
)
_CLOCK_MARK = re.compile(r"\d:\d")
"""Stands between hours and minutes, and behind no label: `Thu May 23 10:00:00`."""
_LABELLED = re.compile(r"\s*(?P<label>[^\W\d][^:=|;\t]{0,40}?)\s*(?P<mark>[:=])\s*(?P<rest>[-+.,\d\u2212].*|)")


@lru_cache(maxsize=20_000)
def look(cell: str) -> Look:
    """Return what a cell looks like; a label before it is passed over."""
    text = cell.strip()
    if text.casefold() in BLANK_WORDS:
        return Look.BLANK
    if (number := _NUMBER.fullmatch(text)) and (
        number["unit"] is None or (is_unit(number["unit"]) or number["unit"].strip() in TIME_UNITS)
    ):
        return Look.NUMBER
    if is_overload_word(text):
        return Look.NUMBER
    if _CLOCK.fullmatch(text) or _WORDED_DURATION.fullmatch(text) or _is_dated(text):
        return Look.TIME
    if patterns_of([text]):
        return Look.TIME
    label = label_of(cell)
    return look(unlabelled(cell, label)) if label else Look.TEXT


def _is_dated(text: str) -> bool:
    day, rest = split_date(without_zone_name(text))
    return bool(day) and _AFTER_DATE.fullmatch(rest) is not None


def label_of(cell: str) -> str:
    """The words and the mark before a value: `Tempo (ms):` of `Tempo (ms): 100`, `Ubat=` of `Ubat=15.209V`."""
    match = _LABELLED.fullmatch(cell)
    if match is None or _CLOCK_MARK.match(cell, match.end("mark") - 2):
        return ""
    return cell[match.start("label") : match.end("mark")]


def unlabelled(cell: str, label: str) -> str:
    """The value behind a label; the cell as it is where it bears another."""
    text = cell.lstrip()
    return text[len(label) :].lstrip() if text.startswith(label) else cell


def label_name(label: str) -> str:
    """A label as a column's name."""
    return label.rstrip(" :=").strip()


_WORD = re.compile(r"[^\W\d_]{2,}")


def is_words(cells: Sequence[str]) -> bool:
    """Tell whether the cells of a line hold words and, beside a time, no number: a note among the readings."""
    looks = [look(cell) for cell in cells]
    words = [cell for cell, seen in zip(cells, looks, strict=True) if seen is Look.TEXT and _WORD.search(cell)]
    return bool(words) and Look.NUMBER not in looks[1:] and looks.count(Look.TIME) <= 2


def note_of(cells: Sequence[str]) -> str:
    """The words of such a line."""
    words = " ".join(cell.strip() for cell in cells if look(cell) is Look.TEXT)
    return words.strip().lstrip("#;/*!>").strip().strip('"').strip()


def has_word(text: str) -> bool:
    """Tell whether a text holds a word, or at least two letters in a row."""
    return _WORD.search(text) is not None
