"""Makes histories of measures: of a dataset's, or of sessions that are in memory."""

from __future__ import annotations

import math
from collections.abc import Iterable
from itertools import groupby
from typing import TYPE_CHECKING, Any

from meterlog.details import entered_number
from meterlog.fleet.measures import measures_of
from meterlog.loaded import Loaded
from meterlog.text.names import same_name
from meterlog.trends.history import History, Point

if TYPE_CHECKING:  # the page knows trends without it
    import pandas as pd

Row = dict[str, Any]
"""A measure with what is known of its session: the cells of `_COLUMNS`."""

_COLUMNS = [
    "session", "vehicle", "label", "measure", "unit", "started_at", "value", "error", "temperature_c",
]  # fmt: skip


def histories(measures: pd.DataFrame) -> list[History]:
    """Return the histories of all vehicles; a session that does not say which it is of is left out.

    Args:
        measures: the table `measures` of a dataset, or some rows of it.
    """
    rows: list[Row] = [{str(key): cell for key, cell in row.items()} for row in measures[_COLUMNS].to_dict("records")]
    return histories_of(row | {"started_at": row["started_at"].to_pydatetime()} for row in rows)


def measured(name: str, session: Loaded) -> list[Row]:
    """Return the measures of one session, of which `histories_of` makes histories.

    Args:
        name: what the session is to be called in them.
        session: it.
    """
    every: Row = {
        "session": name,
        "vehicle": session.details.get("vehicle"),
        "started_at": session.started_at,
        "temperature_c": entered_number(session.details, "temperature_c"),
    }
    return [
        every
        | {"label": one.channel.label, "measure": one.measure}
        | {"unit": one.unit, "value": one.value, "error": one.error}
        for one in measures_of(session)
        if math.isfinite(one.value) and math.isfinite(one.error)
    ]


def histories_of(rows: Iterable[Row]) -> list[History]:
    """Return the histories that rows make, as `histories` does."""
    told = [row for row in rows if isinstance(row["vehicle"], str) and row["vehicle"].strip()]
    told.sort(key=lambda row: (*_key(row), row["started_at"], row["session"]))
    return [_history(list(some)) for _, some in groupby(told, _key)]


def _key(row: Row) -> tuple[str, ...]:
    return same_name(row["vehicle"]), same_name(row["label"]), row["measure"], row["unit"]


def _history(rows: list[Row]) -> History:
    last = rows[-1]
    points = tuple(
        Point(row["session"], row["started_at"], row["value"], row["error"], _known(row["temperature_c"]))
        for row in rows
    )
    return History(last["vehicle"].strip(), last["label"], last["measure"], last["unit"], points)


def _known(value: float | None) -> float | None:
    return None if value is None or math.isnan(value) else value
