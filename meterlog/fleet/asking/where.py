"""Chooses sessions by what is known of them: `--where vehicle="van 7" --where system_v=12`."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping

from meterlog.errors import DatasetError, UsageError

Where = Mapping[str, str]
"""Says what is wanted of a session: keys of `sessions`, or of the details entered for it, and their values."""

_OF_EACH = ("vehicle", "vehicle_kind", "month", "system_v", "temperature_c", "ended")
"""Columns of the table `sessions` that may be asked for."""

CIRCUIT = "circuit"
"""The key that asks for the sessions of jobs on a circuit."""


def where_of(words: Iterable[str]) -> Where:
    """Read KEY=VALUE words.

    Raises:
        UsageError: one is none, or two ask for different values of one key.
    """
    wanted: dict[str, str] = {}
    for word in words:
        key, equals, value = (part.strip() for part in word.partition("="))
        if not (key and equals and value):
            raise UsageError(f"--where needs KEY=VALUE, for example vehicle='van 7', not '{word}'")
        if wanted.setdefault(key, value) != value:
            raise UsageError(f"--where asks for two values of '{key}': no session has both")
    return wanted


def facts_of(row: Mapping[str, object]) -> dict[str, str]:
    """Return what may be asked of a row of `sessions`: its columns, and what was entered."""
    entered = json.loads(str(row.get("details") or "{}"))
    columns = {key: row[key] for key in _OF_EACH if row.get(key) is not None and row[key] == row[key]}  # not NaN
    return {key: str(value) for key, value in {**columns, **entered}.items()}


def fits(facts: Mapping[str, str], wanted: Where) -> bool:
    """Tell whether a session is one of those wanted; capitals count for nothing, and 12 is 12.0."""
    return all(key in facts and _alike(facts[key], value) for key, value in wanted.items())


def check_keys(known: Iterable[str], wanted: Where) -> None:
    """Refuse a key that no session has: a slip would else find nothing, or all.

    Raises:
        DatasetError: there is one.
    """
    known = sorted(known)
    for key in wanted:
        if key not in known:
            raise DatasetError(f"nothing is known of '{key}' for any session: there are {', '.join(known)}")


def _alike(one: str, other: str) -> bool:
    try:
        return float(one) == float(other)
    except ValueError:
        return one.casefold() == other.casefold()
