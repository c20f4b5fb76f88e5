"""The moment of a session's time 0: from the table, the options, or the file's own date."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import NamedTuple

from meterlog.exchange.table.import_plan import ImportPlan

_FAR_S, _FAR_SPANS = 60.0, 10.0
"""A recording that begins so late on its own clock, and so many times its length, counts from its first row.
A guess."""


class SessionStart(NamedTuple):
    """Where a session begins.

    Attributes:
        zero_s: its time 0 on the axis of the file.
        started_at: the same moment on the wall clock.
        notes: what of that was taken from elsewhere than the table.
    """

    zero_s: float
    started_at: datetime
    notes: list[str]


def session_start(plan: ImportPlan, first_s: float) -> SessionStart:
    """Where the session of the rows from `first_s` on begins.

    Args:
        plan: of the file.
        first_s: their first time, as the file counts.
    """
    options, time, notes = plan.options, plan.time, []
    modified = datetime.fromtimestamp(plan.source.path.stat().st_mtime).astimezone(options.zone)
    zero_s = first_s if time.absolute else 0.0
    if not time.absolute and first_s > max(_FAR_S, _FAR_SPANS * (plan.last_s - first_s)):
        zero_s = first_s
        notes.append(f"the session begins at the first row, where the file's clock stands at {first_s:g} s")
    if options.started_at is not None:
        return SessionStart(zero_s, options.started_at, notes)
    if not time.absolute:
        notes.append("the table has no date: the session starts at the file's date; --started-at sets another")
        return SessionStart(zero_s, modified, notes)
    if time.daily and options.date is None:
        day = modified.date()
        notes.append(f"the table has no date: taken from the file's date, {day}; --date sets another")
        moment = datetime(day.year, day.month, day.day) + timedelta(seconds=zero_s)  # noqa: DTZ001
    else:
        moment = datetime(1970, 1, 1) + timedelta(seconds=zero_s)  # noqa: DTZ001
    if time.zoned or plan.zone is not None:
        return SessionStart(zero_s, moment.replace(tzinfo=UTC).astimezone(options.zone), notes)
    if options.zone is not None:
        return SessionStart(zero_s, moment.replace(tzinfo=options.zone), notes)
    notes.append("the times have no offset from UTC: this machine's is used; --zone sets another")
    return SessionStart(zero_s, moment.astimezone(), notes)
