"""The wall clock of a session: local times for the axes, which know no zones, and the zone's name in words."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone, tzinfo
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

_DAY_S = 86_400.0
_TICKS = (([None, 1000], "%H:%M:%S.%2f"), ([1000, 60_000], "%H:%M:%S"), ([60_000, None], "%H:%M"))
"""Says how places from the start are written, by the ms between them."""
_EPOCH = datetime(1970, 1, 1)  # noqa: DTZ001 - axes take local time without a zone


class Clock:
    """Turns s from a session's start into local time and back.

    The offset from UTC that held at the start holds for the whole session, so that time runs evenly on the axis even
    where the clocks were changed meanwhile; `change` says when they were.

    Args:
        started_at: aware.
        duration_s: s.
        zone: whose clock changes count; this computer's where None.
        from_start: whether places on the axes count from the session's start instead of telling the time of day.

    Attributes:
        zone: in words, for example `CET (UTC+01:00)`.
        title: what the axes tell, in words.
        written: how the browser writes a place on the axis.
        change: (s from the start, a sentence) where the clocks were changed during the session, else None.
    """

    def __init__(
        self, started_at: datetime, duration_s: float, zone: tzinfo | None = None, *, from_start: bool = False
    ) -> None:
        started_at = started_at.replace(tzinfo=timezone(started_at.utcoffset() or timedelta()))
        self._started_at = started_at
        self._zone = zone
        self._start_ms = 0.0 if from_start else (started_at.replace(tzinfo=None) - _EPOCH) / timedelta(milliseconds=1)
        offset = f"UTC{started_at.strftime('%z')[:3]}:{started_at.strftime('%z')[3:5]}"
        local = started_at.astimezone(zone)
        known = local.utcoffset() == started_at.utcoffset()
        name = local.tzname() if known else None
        self.zone = offset if not name or name.startswith(("+", "-", "UTC")) else f"{name} ({offset})"
        self.change = self._find_change(duration_s) if known else None
        self.title = "from the start of the session" if from_start else f"time of day, {self.zone}"
        day = "%-j. day " if from_start and duration_s >= _DAY_S else ""
        self.written = f"%{{x|{day}%H:%M:%S.%2f}}"
        self._ticks = [{"dtickrange": ends, "value": day + value} for ends, value in _TICKS] if from_start else []

    def axis(self, span: ArrayLike) -> dict[str, Any]:
        """The time axis of a plot that shows what lies between two times, s."""
        return {"type": "date", "range": self.ms(span).tolist(), "tickformatstops": self._ticks, "tickangle": 0}

    def ms(self, time_s: ArrayLike) -> NDArray[np.float64]:
        """Local time as the axes take it: ms since 1970 as if it were UTC."""
        result: NDArray[np.float64] = self._start_ms + 1000.0 * np.asarray(time_s, np.float64)
        return result

    def seconds(self, shown: str | float) -> float:
        """S from the start, of a place on an axis as the browser gives it."""
        if isinstance(shown, str):
            return (datetime.fromisoformat(shown).replace(tzinfo=None) - _EPOCH).total_seconds() - self._start_ms / 1000
        return (shown - self._start_ms) / 1000

    def words(self, time_s: float) -> str:
        """Local time of day to a tenth of a second; with the day where it is not the first."""
        moment = self._started_at + timedelta(seconds=round(time_s, 1))
        day = "" if moment.date() == self._started_at.date() else f"{moment:%Y-%m-%d} "
        return f"{day}{moment:%H:%M:%S}.{moment.microsecond // 100_000}"

    def _find_change(self, duration_s: float) -> tuple[float, str] | None:
        def offset(time_s: float) -> timedelta | None:
            moment = self._started_at.astimezone(UTC) + timedelta(seconds=time_s)
            return moment.astimezone(self._zone).utcoffset()

        if offset(duration_s) == offset(0.0):
            return None
        low, high = 0.0, duration_s
        while high - low > 0.5:
            middle = (low + high) / 2
            low, high = (middle, high) if offset(middle) == offset(0.0) else (low, middle)
        time_s = float(round(high))
        after = self._started_at.astimezone(UTC) + timedelta(seconds=time_s)
        return time_s, (
            f"The clocks were changed during this session, at {self.words(time_s)[:-2]}: from there on they showed "
            f"{after.astimezone(self._zone):%H:%M:%S}. The axis goes on in {self.zone}."
        )
