"""Times as a person types and reads them: `8h`, `90min`, `30` (s), moments of a session, `1:05.8`, days, `3d`."""

from __future__ import annotations

import argparse
import re
from datetime import date, datetime, timedelta

from meterlog.errors import UsageError
from meterlog.text.typed import typed_number

_UNIT_S = {"": 1.0, "s": 1.0, "min": 60.0, "h": 3600.0}
_SPAN = re.compile(r"(\d+[.,]?\d*|[.,]\d+)\s*(s|min|h|)")
_DAYS = re.compile(r"(\d{1,4})\s*(?:d|days?)")
_MOMENT = re.compile(r"(?:(\d+):)?(\d+):(\d\d(?:[.,]\d*)?)")


HOUR_S = 3600.0


def from_start(time_s: float, *, hours: bool) -> str:
    """A moment of a session, `1:05.80`, with hours `0:01:05.8`; before its start `-0:03.20`.

    Args:
        time_s: s from the session's start.
        hours: whether to show them, which all moments of one session do or none.
    """
    sign, tenths = ("-" if time_s < 0 else ""), round(abs(time_s), 1 if hours else 2)
    minutes, rest = divmod(tenths, 60.0)
    if not hours:
        return f"{sign}{minutes:.0f}:{rest:05.2f}"
    return f"{sign}{minutes // 60:.0f}:{minutes % 60:02.0f}:{rest:04.1f}"


def span(text: str) -> float:
    """A length of time, s.

    Raises:
        ArgumentTypeError: it is none.
    """
    match = _SPAN.fullmatch(text.strip())
    if match is None:
        raise argparse.ArgumentTypeError(f"must be a number of seconds, or 90min, 8h, not '{text}'")
    return float(match[1].replace(",", ".")) * _UNIT_S[match[2]]


def moment(text: str) -> float:
    """A moment, s from the session's start: `65.8`, `1:05.8` or `1:01:05.8`.

    Raises:
        ArgumentTypeError: it is none.
    """
    if match := _MOMENT.fullmatch(text.strip()):
        return 3600.0 * int(match[1] or 0) + 60.0 * int(match[2]) + float(match[3].replace(",", "."))
    try:
        return typed_number(text)
    except UsageError:
        raise argparse.ArgumentTypeError(f"wants seconds from the session's start, or 1:05.8, not '{text}'") from None


def today() -> date:
    """This day, where this computer is."""
    return datetime.now().astimezone().date()


def day_to_come(text: str) -> date:
    """A day from today on: `2026-12-01`, or in so many days, `3d`.

    Raises:
        ArgumentTypeError: it is none, or is over.
    """
    match, now = _DAYS.fullmatch(text.strip()), today()
    try:
        day = now + timedelta(days=int(match[1])) if match else date.fromisoformat(text.strip())
    except ValueError:
        raise argparse.ArgumentTypeError(
            f"must be a date as YYYY-MM-DD, or days from now as 3d, not '{text}'"
        ) from None
    if day < now:
        raise argparse.ArgumentTypeError(f"must be today or later, not '{text}'")
    return day
