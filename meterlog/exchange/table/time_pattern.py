"""Times by a pattern as `strptime` has it, and the pattern that a cell seems to have."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import datetime

from meterlog.errors import UsageError
from meterlog.exchange.table.time_text import TimeReader

_EPOCH = datetime(1970, 1, 1)  # noqa: DTZ001 - naive on purpose: local times are counted from a local epoch
_DIGITS = re.compile(r"\d")
_SHOWS_YEAR = re.compile("%[YyjxcGs]")
_YEAR = 2000
_LEAST_DIGITS = 5
_STEPS: tuple[tuple[str, tuple[str, ...]], ...] = (
    (r"(?<=GMT|UTC)[+-]\d{2}:?\d{2}\b", ("%z",)),
    (r"\b(?:Mon|Tue|Wed|Thu|Fri|Sat|Sun)\b", ("%a",)),
    (r"(?<=GMT|UTC)[+-]\d{2}:?\d{2}\b", ("%z",)),
    (r"\b(?:Mon|Tues|Wednes|Thurs|Fri|Satur|Sun)day\b", ("%A",)),
    (r"(?<!\d)\d{4}([-/._: ])\d{1,2}\1\d{1,2}(?!\d)", (r"%Y\1%m\1%d",)),
    (r"(?<!\d)(?:19|20)\d{6}(?=\d{6}|\D|$)", ("%Y%m%d",)),
    (r"(?<!\d)\d{4}-W\d{2}-\d(?!\d)", ("%G-W%V-%u",)),
    (r"(?<!\d)\d{4}-\d{3}(?!\d)", ("%Y-%j",)),
    (r"(?<!\d)\d{1,2}h\d{2}m(\d{2}s)", ("%Hh%Mm%Ss",)),
    (r"(?<!\d)\d{1,2}([-/._ ])\d{1,2}\1\d{4}(?!\d)", (r"%d\1%m\1%Y", r"%m\1%d\1%Y")),
    (r"(?<!\d)\d{1,2}:\d{2}:\d{2}([.,:])\d{1,6}(?!\d)", (r"%H:%M:%S\1%f",)),
    (r"(?<!\d)\d{1,2}:\d{2}:\d{2}(?!\d)", ("%H:%M:%S",)),
    (r"(?<!\d)\d{1,2}:\d{2}(?!\d)", ("%H:%M",)),
    (r"(?<!\d)\d{6}([.,])\d{1,6}(?!\d)", (r"%H%M%S\1%f",)),
    (r"(?<!\d)\d{6}(?!\d)", ("%H%M%S",)),
    (r"(?<!\d)\d{1,2}([-/._ ])\d{1,2}\1\d{2}(?!\d)", (r"%d\1%m\1%y", r"%m\1%d\1%y")),
    (r"\b(?:Jan|Feb|Mar|Apr|May|Jun|Jul|Aug|Sep|Oct|Nov|Dec)\b", ("%b",)),
    (r"\b(?:January|February|March|April|June|July|August|September|October|November|December)\b", ("%B",)),
    (r"(?<!\d)\d{4}(?!\d)", ("%Y",)),
    (r"(?<![\d%])\d{1,2}(?!\d)", ("%d",)),
    (r"(?i)\b[ap]m\b", ("%p",)),
    (r"\b[+-]\d{4}$", ("%z",)),
)
"""Says what each piece of a time looks like, and its directive; where there are two, the order of day and month is
open."""


_WORDS_BESIDE = frozenset(
    (
        *("T", "W", "Z", "UTC", "GMT", "h", "m", "s", "H", "M", "S", "min", "Uhr", "at", "um", "à"),
        *("WET", "WEST", "BST", "CET", "CEST", "MEZ", "MESZ", "EET", "EEST", "MSK", "IST", "JST", "AEST", "AEDT"),
        *("EST", "EDT", "CST", "CDT", "MST", "MDT", "PST", "PDT", "NZST", "NZDT"),
    )
)
"""Words that may stand in a time: any other may be a month in some language, and none is passed over. Short names of
zones stand for several offsets each, so they are read over: `--zone` says which."""


def patterns_of(cells: Sequence[str]) -> list[str]:
    """The patterns that read every one of some cells; none where there is none with a date or seconds in it."""
    cells = [cell.strip() for cell in cells]
    if not cells or len(_DIGITS.findall(cells[0])) < _LEAST_DIGITS:
        return []
    found = [cells[0].replace("%", "%%")]
    for piece, directives in _STEPS:
        found = [re.sub(piece, directive, text, count=1) for text in found for directive in directives]
        found = list(dict.fromkeys(found))
    found = [text.replace("%H", "%I") if "%p" in text else text for text in found]
    return [text for text in found if _is_whole(text) and _reads(text, cells)]


def _is_whole(pattern: str) -> bool:
    """Tell whether a pattern has minutes or a year in it, and no digit or word that it does not explain."""
    rest = re.sub("%.", " ", pattern)
    known = bool({"%M", "%Y", "%y"} & set(re.findall("%.", pattern))) and not _DIGITS.search(pattern)
    return known and set(re.findall(r"[^\W\d_]+", rest)) <= _WORDS_BESIDE


def _reads(pattern: str, cells: Sequence[str]) -> bool:
    try:
        for cell in cells:
            _parsed(cell, pattern)
    except (ValueError, re.error):  # a directive that comes twice is an error of its own
        return False
    return True


def _parsed(cell: str, pattern: str) -> datetime:
    """A cell by a pattern; a date without its year is taken from a leap year, as `strptime` takes none by itself."""
    if _SHOWS_YEAR.search(pattern):
        return datetime.strptime(cell, pattern)  # noqa: DTZ007 - naive on purpose, see above
    return datetime.strptime(f"{_YEAR} {cell}", f"%Y {pattern}")  # noqa: DTZ007


class PatternTime(TimeReader):
    """Times by a pattern.

    Raises:
        UsageError: it is none.
    """

    def __init__(self, pattern: str) -> None:
        try:
            _parsed("", pattern)
        except (ValueError, re.error) as error:
            if "does not match" not in str(error):
                raise UsageError(f"--time-format '{pattern}' is no pattern of a time: {error}") from None
        self.description = f"the pattern {pattern}"
        self._pattern = pattern
        self.zoned = "%z" in pattern or pattern.endswith(("UTC", "GMT", "Z"))
        self.daily = not _SHOWS_YEAR.search(pattern)
        self._midnight = datetime(_YEAR, 1, 1) if self.daily else _EPOCH  # noqa: DTZ001

    def one(self, cell: str) -> float:
        """See `TimeReader.one`."""
        moment = _parsed(cell.strip(), self._pattern)
        if (offset := moment.utcoffset()) is not None:
            moment = moment.replace(tzinfo=None) - offset
        return (moment - self._midnight).total_seconds()

    def resolution(self, cells: Sequence[str]) -> float:
        """See `TimeReader.resolution`."""
        if "%f" in self._pattern:
            return float(10.0 ** -max(len(re.findall(r"\d+", cell)[-1]) for cell in cells))
        return 1.0 if "%S" in self._pattern else 60.0
