"""Says what is normal: in which interval a measure of such vehicles lies, by many sessions."""

from __future__ import annotations

import statistics
from collections.abc import Hashable
from dataclasses import dataclass

import numpy as np
import pandas as pd

from meterlog.signal.tolerance import LEAST, SHARE, odd, tolerance_interval
from meterlog.text.names import same_name

_WHAT = ["label", "quantity", "measure", "unit"]
"""One measure of one place: the columns that are alike in all its rows."""


@dataclass(frozen=True, slots=True)
class Odd:
    """A value that does not belong to the others; it was left out.

    Attributes:
        session: its path.
        vehicle: as entered, or ''.
        value: in the measure's unit.
    """

    session: str
    vehicle: str
    value: float


@dataclass(frozen=True, slots=True)
class Normal:
    """Holds what is normal of one measure of one place.

    Attributes:
        label: of the channels.
        quantity: that they measure.
        measure: its name.
        unit: of all figures here.
        captures: sessions that have it.
        vehicles: different vehicles among them, by their names; 0 where none was entered.
        of: what the interval speaks of: another `vehicle`, or another `capture` of these vehicles.
        used: values that the interval comes from, without the odd ones.
        middle: their median.
        low: the interval's lower end; None where there are too few.
        high: its upper end.
        confidence: the probability that `SHARE` or more of all such lie within.
        method: see `Tolerance`.
        odd: what was left out.
    """

    label: str
    quantity: str
    measure: str
    unit: str
    captures: int
    vehicles: int
    of: str
    used: int
    middle: float
    low: float | None
    high: float | None
    confidence: float | None
    method: str | None
    odd: tuple[Odd, ...]


def normal_of(measures: pd.DataFrame) -> list[Normal]:
    """Say what is normal, measure by measure, of the table `measures`.

    A vehicle's many sessions are not many vehicles: of each only the newest counts where there are enough vehicles.
    With fewer all captures count, and the interval speaks of these vehicles alone.
    """
    return [_one(key, rows) for key, rows in measures.groupby(_WHAT, sort=True)]


def _one(key: Hashable, rows: pd.DataFrame) -> Normal:
    captures = _captures(rows)
    named = captures[captures.name != ""]
    vehicles = named.name.nunique()
    of = "vehicle" if vehicles >= LEAST else "capture"
    sample = named.drop_duplicates("name", keep="last") if of == "vehicle" else captures
    values = sample.value.to_numpy()
    out = odd(values, sample.error.to_numpy())
    within = tolerance_interval(values[~out])
    label, quantity, measure, unit = (str(part) for part in (key if isinstance(key, tuple) else (key,)))
    return Normal(
        label,
        quantity,
        measure,
        unit,
        captures=len(captures),
        vehicles=vehicles,
        of=of,
        used=int((~out).sum()),
        middle=statistics.median(values[~out].tolist()),
        low=None if within is None else within.low,
        high=None if within is None else within.high,
        confidence=None if within is None else within.confidence,
        method=None if within is None else within.method,
        odd=tuple(map(Odd, *(sample.loc[out, column].tolist() for column in ("session", "vehicle", "value")))),
    )


def _captures(rows: pd.DataFrame) -> pd.DataFrame:
    """One row a session, the oldest first: the median of its passes, their largest error, its vehicle by `name`."""
    rows = rows[np.isfinite(rows.value)].assign(vehicle=rows.vehicle.fillna(""))
    how = {"value": "median", "error": "max", "vehicle": "first", "started_at": "first"}
    grouped = rows.groupby("session").agg(how)
    grouped = grouped.assign(name=grouped.vehicle.map(same_name))
    return grouped.reset_index().sort_values(["started_at", "session"], ignore_index=True)


def sentence(one: Normal) -> str:
    """Say how far the interval may be trusted."""
    if one.low is None or one.confidence is None:
        return f"too few to say what is normal: {one.used}, and {LEAST} are needed"
    left_out = f", {len(one.odd)} left out" if one.odd else ""
    if one.of == "vehicle":
        whose = f"{SHARE:.0%} of such vehicles, by {one.used} vehicles{left_out}"
    elif one.vehicles:
        whose = f"{SHARE:.0%} of captures of these {one.vehicles} vehicles, by {one.used}{left_out}"
    else:
        whose = f"{SHARE:.0%} of such, by {one.used} captures{left_out}, if each is of another vehicle"
    by = "by ranks" if one.method == "ranks" else f"{one.method} distribution"
    return f"{whose}; {one.confidence:.0%} sure, {by}"
