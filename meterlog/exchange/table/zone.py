"""Turns local times into UTC by the rules of a zone, and finds the hour that clocks put forward leave out."""

from __future__ import annotations

from datetime import datetime, timedelta
from functools import cache
from typing import NamedTuple
from zoneinfo import ZoneInfo, available_timezones

import numpy as np

from meterlog.errors import TableError
from meterlog.exchange.table.question import Question
from meterlog.exchange.table.rows import Floats
from meterlog.exchange.table.time_text import DAY_S

HOUR_S = 3600.0
_STEP_S = 900.0
"""Offsets change at quarters of an hour only, so one is looked up for each, s."""
_NEAR_S = 900.0
"""A row so close before an hour that comes twice shows that its first pass is meant, s. A guess."""
_LONGEST_INTERVAL_S = 1800.0
"""Rows further apart cannot show that just an hour is missing, s. A guess."""
_SHOWN_ZONES = 3
_LAST_PUT_FORWARD_S = 3 * HOUR_S
"""Clocks are put forward between midnight and then, s: at 0, 1, 2 or 3 o'clock where it is done today."""
_EPOCH = datetime(1970, 1, 1)  # noqa: DTZ001 - local times are counted from a local epoch


class LocalTimes:
    """Turns the local times of one clock into UTC, in their order: in an hour that comes twice only the order tells."""

    def __init__(self, zone: ZoneInfo) -> None:
        self._zone = zone
        self._offsets: dict[float, tuple[float, float]] = {}
        self._last_s = -np.inf
        self._was_twice = self._again = False

    def utc(self, local_s: Floats) -> Floats:
        """Turn further times into UTC, both in s since 1970.

        Raises:
            TableError: the zone had no such time, or nothing says which of two times is meant.
        """
        quarters, which = np.unique(np.floor(local_s / _STEP_S) * _STEP_S, return_inverse=True)
        offsets = np.array([self._both(quarter) for quarter in quarters.tolist()])
        first, second = offsets[which].T
        if (missing := np.flatnonzero(first < second)).size:
            raise self._is_missing(float(local_s[missing[0]]), float(first[missing[0]]))
        offset_s = first.copy()
        if self._was_twice or (first > second).any():
            for i, time_s in enumerate(local_s.tolist()):
                if self._second_pass(time_s, first[i], second[i]):
                    offset_s[i] = second[i]
        elif len(local_s):
            self._last_s = float(local_s[-1])
        in_utc: Floats = local_s - offset_s
        return in_utc

    def _both(self, local_s: float) -> tuple[float, float]:
        """The offset of a local time, and that of its second pass, s: the greater one second where it is missing."""
        if local_s not in self._offsets:
            moment = _moment(local_s).replace(tzinfo=self._zone)
            self._offsets[local_s] = (_offset_s(moment), _offset_s(moment.replace(fold=1)))
        return self._offsets[local_s]

    def _second_pass(self, time_s: float, first_s: float, second_s: float) -> bool:
        """Tell whether a time lies in the second pass of an hour that comes twice."""
        step_s, self._last_s = time_s - self._last_s, time_s
        twice = first_s > second_s
        if twice and not self._was_twice:
            if not 0 <= step_s < _NEAR_S:
                raise self._is_twice(time_s, first_s, second_s)
            self._again = False
        elif twice and step_s < -(first_s - second_s) / 2:
            self._again = True
        elif self._was_twice and not twice and not self._again and step_s < _NEAR_S:
            raise self._not_put_back(time_s)
        self._was_twice = twice
        return twice and self._again

    def _is_missing(self, time_s: float, offset_s: float) -> TableError:
        return TableError(
            f"{spelled(time_s)} was no time in {self._zone}, where clocks were put forward then: where the logger's"
            f" clock was not, give its offset with --zone {_as_offset(offset_s)}"
        )

    def _is_twice(self, time_s: float, first_s: float, second_s: float) -> TableError:
        return TableError(
            f"{spelled(time_s)} came twice in {self._zone}, and no row close before it says which one is meant: give"
            f" the offset with --zone {_as_offset(first_s)} or --zone {_as_offset(second_s)}"
        )

    def _not_put_back(self, time_s: float) -> TableError:
        return TableError(
            f"before {spelled(time_s)} clocks were put back in {self._zone}, and the times were not: give the offset"
            " of the logger's clock with --zone, such as --zone +02:00"
        )


class HourStep(NamedTuple):
    """Two rows an hour or a little more apart, their times s since 1970.

    Attributes:
        line: of the later one.
        before_s: the earlier time.
        after_s: the later time.
        interval_s: the usual step.
    """

    line: int
    before_s: float
    after_s: float
    interval_s: float


def is_missing_hour(step: HourStep, *, dated: bool = True) -> bool:
    """Tell whether the rows are one interval apart on a local clock that was put forward between them somewhere.

    Times of an unknown day are in doubt in any night.
    """
    over_s = step.after_s - step.before_s - HOUR_S - step.interval_s
    if step.interval_s > _LONGEST_INTERVAL_S or abs(over_s) > max(1.0, step.interval_s / 2):
        return False
    hour_s = _hour_before(step.after_s)
    if not dated:
        return step.before_s < hour_s and hour_s % DAY_S <= _LAST_PUT_FORWARD_S
    return step.before_s < hour_s and (not available_timezones() or bool(_put_forward(hour_s)))


def _hour_before(after_s: float) -> float:
    return (after_s // HOUR_S - 1) * HOUR_S


@cache
def _put_forward(hour_s: float) -> list[str]:
    """The zones where that local hour was missing."""
    here = {name: _moment(hour_s).replace(tzinfo=ZoneInfo(name)) for name in available_timezones() if _is_place(name)}
    missing = [name for name, there in here.items() if _offset_s(there) < _offset_s(there.replace(fold=1))]
    return sorted(missing, key=lambda name: (not name.startswith("Europe/"), name))


def _is_place(name: str) -> bool:
    return name.startswith(("Africa/", "America/", "Asia/", "Atlantic/", "Australia/", "Europe/", "Pacific/"))


def missing_hour_question(step: HourStep, *, dated: bool = True) -> Question:
    """Return what is asked where local times step over an hour that clocks skipped in some places."""
    if not dated:
        return Question(
            f"the times have no date and step in line {step.line} over an hour of the night, from"
            f" {_time_of_day(step.before_s)} to {_time_of_day(step.after_s)}, as where clocks are put forward: say"
            " --date and --zone, such as --date 2024-03-31 --zone Europe/Berlin, and the hour goes where it did not"
            " exist; or, for a clock that was not put forward, its offset, such as --zone +01:00: the hour is a gap",
            "zone",
        )
    by_offset = _by_offset(_put_forward(_hour_before(step.after_s)), step.after_s)
    here = by_offset.get(_offset_s(_moment(step.after_s).astimezone()))
    shown = [here] if here else [*by_offset.values()][:_SHOWN_ZONES] or ["Europe/Berlin"]
    return Question(
        f"the times have no offset from UTC and step in line {step.line} from {spelled(step.before_s)} to"
        f" {spelled(step.after_s)}, as where clocks were put forward then ({', '.join(shown)}): name the zone, such as"
        f" --zone {shown[0]}, and the hour goes; or, for a clock that was not put forward, its offset, such as"
        " --zone +01:00, and the hour is a gap",
        "zone",
        (ZoneInfo(here),) if here else (),
    )


def _by_offset(zones: list[str], local_s: float) -> dict[float, str]:
    """The first zone of each offset."""
    names: dict[float, str] = {}
    for name in zones:
        names.setdefault(_offset_s(_moment(local_s).replace(tzinfo=ZoneInfo(name))), name)
    return names


def _moment(local_s: float) -> datetime:
    return _EPOCH + timedelta(seconds=local_s)


def spelled(local_s: float) -> str:
    """A local time for a person."""
    return _moment(local_s).isoformat(" ", "milliseconds").removesuffix(".000")


def _time_of_day(local_s: float) -> str:
    return spelled(local_s % DAY_S).partition(" ")[2]


def _offset_s(moment: datetime) -> float:
    offset = moment.utcoffset()
    assert offset is not None
    return offset.total_seconds()


def _as_offset(offset_s: float) -> str:
    hours, seconds = divmod(abs(int(offset_s)), 3600)
    return f"{'-' if offset_s < 0 else '+'}{hours:02d}:{seconds // 60:02d}"
