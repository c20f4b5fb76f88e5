"""Chooses sessions by what is known of them: `--where vehicle="van 7" --where "temperature_c<5"`."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Iterable, Mapping
from datetime import UTC, datetime
from typing import NamedTuple

from meterlog.errors import DatasetError, UsageError
from meterlog.session.summary import Summary

_OF_EACH = ("vehicle", "vehicle_kind", "month", "system_v", "temperature_c", "ended")
"""Columns of the table `sessions` that may be asked for, beside the day."""

CIRCUIT = "circuit"
"""The key that asks for the sessions of jobs on a circuit."""

_CONDITION = re.compile(r"([^=<>]+)(<=|>=|=|<|>)(.+)", re.S)
_DATE = re.compile(r"\d{4}(-\d\d(-\d\d)?)?")
"""A year, a month or a day, as ISO 8601 has them."""


class Condition(NamedTuple):
    """One thing that is to be so of a session.

    Attributes:
        key: of a column of `sessions`, or of a detail that was entered for it.
        sign: `=`, `<`, `<=`, `>` or `>=`.
        value: to compare with.
    """

    key: str
    sign: str
    value: str

    def __str__(self) -> str:
        return "".join(self)


Where = tuple[Condition, ...]
"""Says what is wanted of a session: all of it."""


def where_of(words: Iterable[str], values: Mapping[str, object] | None = None) -> Where:
    """Read KEY=VALUE, KEY<VALUE and the like.

    Args:
        words: as typed.
        values: of keys that are to have just these.

    Raises:
        UsageError: one is none, or two ask for different values of one key.
    """
    wanted = [_condition(word) for word in words]
    wanted += [Condition(key, "=", str(value)) for key, value in (values or {}).items()]
    equal: dict[str, str] = {}
    for key, sign, value in wanted:
        if sign == "=" and equal.setdefault(key, value) != value:
            raise UsageError(f"--where asks for two values of '{key}': no session has both")
    return tuple(wanted)


def _condition(word: str) -> Condition:
    found = _CONDITION.fullmatch(word)
    key, sign, value = (part.strip() for part in found.groups()) if found else ("", "", "")
    if not (key and value):
        raise UsageError(
            f"--where needs KEY=VALUE, for example vehicle='van 7', or a comparison, as 'temperature_c<5', not '{word}'"
        )
    if sign != "=" and ((_number(value) is None and not _DATE.fullmatch(value)) or key == CIRCUIT):
        raise UsageError(f"--where {key}{sign} needs a number or a date, as 2026-03-15 or 2026-03, not '{value}'")
    return Condition(key, sign, value)


def facts_of(row: Mapping[str, object]) -> dict[str, str]:
    """Return what may be asked of a row of `sessions`: its columns, the day it began, and what was entered."""
    entered = json.loads(str(row.get("details") or "{}"))
    columns = {key: row[key] for key in _OF_EACH if row.get(key) is not None and row[key] == row[key]}  # not NaN
    began = row.get("started_at")
    days = _days(began) if isinstance(began, datetime) else {}
    return {key: str(value) for key, value in {**days, **columns, **entered}.items()}


def facts_of_summary(session: Summary) -> dict[str, str]:
    """Return what may be asked of a session in a list."""
    days = _days(session.started_at) if session.started_at else {}
    return {**days, "ended": session.ended, **session.details}


def _days(began: datetime) -> dict[str, str]:
    day = began.astimezone(UTC).date().isoformat()
    return {"day": day, "month": day[: len("2026-03")]}


def fits(facts: Mapping[str, str], wanted: Where) -> bool:
    """Tell whether a session is one of those wanted; capitals count for nothing, and 12 is 12.0."""
    return all(one.key in facts and _holds(facts[one.key], one.sign, one.value) for one in wanted)


def check_keys(known: Iterable[str], wanted: Where) -> None:
    """Refuse a key that no session has: a slip would else find nothing, or all.

    Raises:
        DatasetError: there is one.
    """
    known = sorted(known)
    for one in wanted:
        if one.key not in known:
            raise DatasetError(f"nothing is known of '{one.key}' for any session: there are {', '.join(known)}")


def _holds(fact: str, sign: str, value: str) -> bool:
    """Compare a fact with a value: as numbers, or as dates as far as the value goes; what is neither is only alike."""
    number, bound = _number(fact), _number(value)
    if number is not None and bound is not None:
        return _compared((number > bound) - (number < bound), sign)
    if sign == "=":
        return fact.casefold() == value.casefold()
    part = fact[: len(value)]
    return bool(_DATE.fullmatch(value) and _DATE.fullmatch(part)) and _compared((part > value) - (part < value), sign)


def _compared(order: int, sign: str) -> bool:
    return (order == 0 and "=" in sign) or (order < 0 and "<" in sign) or (order > 0 and ">" in sign)


def _number(text: str) -> float | None:
    try:
        number = float(text)
    except ValueError:
        return None
    return number if math.isfinite(number) else None
