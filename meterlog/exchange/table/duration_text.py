"""Durations as tables show them: `-00:00:01.5`, `1 day, 02:03:04`, `PT1.5S`."""

from __future__ import annotations

import re

from meterlog.exchange.table.time_text import DAY_S, TimeReader

_DURATION = re.compile(
    r"(?P<sign>[-+\u2212])?\s*(?:(?P<d>\d+)\s*d(?:ays?)?,?\s*)?"
    r"(?P<h>\d+):(?P<m>\d{1,2})(?::(?P<s>\d{1,2})(?:[.,](?P<part>\d+))?)?",
    re.IGNORECASE,
)
_ISO = re.compile(
    r"(?P<sign>[-+])?P(?:(?P<d>\d+)D)?T?(?:(?P<h>\d+)H)?(?:(?P<m>\d+)M)?(?:(?P<s>\d+)(?:[.,](?P<part>\d+))?S)?"
)
_SIGNED_OR_WORDED = re.compile(r"[-+\u2212]|.*[Dd]|P")


def is_duration(cell: str) -> bool:
    """Tell whether a cell can only be a duration: it has a sign, days, or more hours than a day."""
    match = _DURATION.fullmatch(cell) or _ISO.fullmatch(cell)
    if match is None:
        return False
    return _SIGNED_OR_WORDED.match(cell) is not None or (match["s"] is not None and int(match["h"] or 0) > 24)


class DurationTime(TimeReader):
    """Time since the recording began, or before it."""

    absolute = False
    description = "durations"

    def one(self, cell: str) -> float:
        """See `TimeReader.one`."""
        match = _DURATION.fullmatch(cell.strip()) or _ISO.fullmatch(cell.strip())
        if match is None:
            raise ValueError("no duration")
        whole = int(match["d"] or 0) * DAY_S + int(match["h"] or 0) * 3600 + int(match["m"] or 0) * 60
        seconds = whole + float(f"{match['s'] or 0}.{match['part'] or 0}")
        return -seconds if match["sign"] in ("-", "\u2212") else seconds
