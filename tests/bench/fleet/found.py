"""Asks a dataset which vans have which fault and which got worse, and judges the answers by the truth."""

from __future__ import annotations

from collections.abc import Iterable, Set
from pathlib import Path
from typing import Any

import pandas as pd

from meterlog.trends import Verdict, histories, judge
from tests.bench.fleet.world import BEGAN, DAYS, FAULTS, WEARS, Fault, Van, Wear

_EVENTS: dict[Fault, str] = {"dropouts": "dropout", "missing prime": "missing_prime", "overvoltage": "overvoltage"}
_OF_WEAR: dict[Wear, tuple[str, float]] = {
    "charge": ("charge", -1.0),
    "crank": ("crank lowest", -1.0),
    "ground": ("drop while loaded", 1.0),
}
"""The measure that shows each wear, and which way is worse."""
_FEW = 2
"""Sessions with an event that make no fault yet: a guess, made before any van was judged."""
_ENDS_DAYS = 60.0
"""Says what is compared: the first and the last so many days, both winter. A choice."""
_DEVIATIONS = 6.0
"""A van got worse where it changed by so many deviations more than the fleet's middle. A choice."""
_MAD_TO_DEVIATION = 1.4826
_COUNT_V = 0.01
"""One count of the meters: less is no deviation."""


def verdicts(dataset: Path, vans: list[Van]) -> Iterable[str]:
    """Say how well each question is answered, a line each."""
    events = pd.read_parquet(dataset / "events")[["session", "kind"]].drop_duplicates()
    vehicles = pd.read_parquet(dataset / "sessions").set_index("session")["vehicle"]
    of_vans = events.assign(vehicle=events["session"].map(vehicles))
    shown: dict[Any, int] = dict(of_vans.groupby(["kind", "vehicle"]).size())
    for fault in FAULTS:
        having = {vehicle for (kind, vehicle), sessions in shown.items() if kind == _EVENTS[fault] and sessions > _FEW}
        yield _judged(f"fault: {fault}", having, {van.name for van in vans if van.fault == fault})
    worn = {van.name for van in vans if van.wear}
    measures = pd.read_parquet(dataset / "measures")
    trends = [trend for trend in judge(histories(measures)) if trend.verdict is Verdict.CHANGED and trend.worse]
    yield _judged("worse over the year, in any measure, by trends", {trend.history.vehicle for trend in trends}, worn)
    worse = _worse(measures)
    yield _judged("worse over the year, by a plain question", worse, {(v.name, v.wear) for v in vans if v.wear})


def _worse(measures: pd.DataFrame) -> set[tuple[str, Wear]]:
    """The vans whose measure changed by far more than the fleet's from the first days of the year to the last."""
    day = (measures["started_at"] - BEGAN).dt.total_seconds() / 86_400.0
    found = set()
    for wear in WEARS:
        measure, sign = _OF_WEAR[wear]
        one = measures["measure"] == measure
        before = measures[one & (day < _ENDS_DAYS)].groupby("vehicle")["value"].median()
        after = measures[one & (day > DAYS - _ENDS_DAYS)].groupby("vehicle")["value"].median()
        change = sign * (after - before)
        apart = change - change.median()
        deviation = max(_MAD_TO_DEVIATION * apart.abs().median(), _COUNT_V)
        found |= {(str(vehicle), wear) for vehicle in change.index[apart > _DEVIATIONS * deviation]}
    return found


def _judged(name: str, found: Set[object], true: Set[object]) -> str:
    right = len(found & true)
    recall, precision = (right / len(some) if some else float("nan") for some in (true, found))
    return f"{name}: {len(true)} vans, recall {recall:.2f}, precision {precision:.2f}"
