"""Makes histories of a dataset's measures."""

from __future__ import annotations

import math
from itertools import groupby
from typing import Any

import pandas as pd

from meterlog.trends.history import History, Point

Row = dict[str, Any]

_COLUMNS = [
    "session", "vehicle", "label", "measure", "unit", "started_at", "value", "error", "temperature_c",
]  # fmt: skip


def histories(measures: pd.DataFrame) -> list[History]:
    """Return the histories of all vehicles; a session that does not say which it is of is left out.

    Args:
        measures: the table `measures` of a dataset, or some rows of it.
    """
    rows: list[Row] = [{str(key): cell for key, cell in row.items()} for row in measures[_COLUMNS].to_dict("records")]
    rows = [row for row in rows if isinstance(row["vehicle"], str) and row["vehicle"].strip()]
    rows.sort(key=lambda row: (*_key(row), row["started_at"], row["session"]))
    return [_history(list(some)) for _, some in groupby(rows, _key)]


def _key(row: Row) -> tuple[str, ...]:
    vehicle, label = (" ".join(row[name].split()).casefold() for name in ("vehicle", "label"))
    return vehicle, label, row["measure"], row["unit"]


def _history(rows: list[Row]) -> History:
    last = rows[-1]
    points = tuple(
        Point(
            row["session"], row["started_at"].to_pydatetime(), row["value"], row["error"], _known(row["temperature_c"])
        )
        for row in rows
    )
    return History(last["vehicle"].strip(), last["label"], last["measure"], last["unit"], points)


def _known(value: float) -> float | None:
    return None if math.isnan(value) else value
