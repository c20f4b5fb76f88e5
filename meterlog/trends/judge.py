"""Says of many histories which have changed: few alarms are false however many there are, and a meter is no fault."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from statistics import NormalDist

import numpy as np

from meterlog.signal.tolerance import student_quantile
from meterlog.trends.change import LEAST_DAYS, Change, best_change, places_tried
from meterlog.trends.history import BY_WEATHER, Days, History

FALSE_SHARE = 0.01
"""Of the histories that are said to have changed, so many may be sound (Benjamini and Hochberg 1995). A choice: of a
hundred vans that are called in for it, one comes for nothing."""

_SEEN = 0.9
"""A change of the size that is stated would have been found with this chance; a choice."""

_WORSE_WHEN_LOWER = {
    "prime level", "prime lowest", "crank lowest", "level while on", "rest", "charge",
}  # fmt: skip
_WORSE_WHEN_HIGHER = {"prime droop", "prime transition", "crank duration", "drop while loaded", "resistance", "draw"}
"""Says what wear does to each measure; of the others either way may be a fault."""


class Verdict(StrEnum):
    """Holds what can be said of a history."""

    CHANGED = "changed"
    NO_CHANGE = "no change shown"
    CANNOT_TELL = "cannot tell"


@dataclass(frozen=True, slots=True)
class Trend:
    """A history and what is said of it.

    Attributes:
        history: it.
        days: those that were used.
        verdict: it.
        why: why it cannot be told; empty otherwise.
        change: the best change; None where there are too few days.
        error: half-width of the band of the change's amount, the meters' errors included, in the measure's unit.
        false_share: the share of false alarms if this one and all that are more certain are believed.
        seen: a change of this size by half the time would have been found; None where nothing was looked for.
    """

    history: History
    days: Days
    verdict: Verdict
    why: str = ""
    change: Change | None = None
    error: float = math.nan
    false_share: float = 1.0
    seen: float | None = None

    @property
    def worse(self) -> bool | None:
        """Tell whether it is what wear does; None where either way may be a fault, or nothing has changed."""
        measure, sinks = self.history.measure, self.change is not None and self.change.amount < 0
        if self.verdict is not Verdict.CHANGED or measure not in _WORSE_WHEN_LOWER | _WORSE_WHEN_HIGHER:
            return None
        return sinks is (measure in _WORSE_WHEN_LOWER)


def judge(histories: Sequence[History]) -> list[Trend]:
    """Look for a change in each history; those that changed come first, the most certain of them at the top.

    A change counts where chance explains it too seldom, all histories together, and where it is more than two meters
    may differ by: sessions of one vehicle need not be of the same one.
    """
    all_days = [history.days() for history in histories]
    changes = [best_change(days) for days in all_days]
    shares = false_shares([change.chance for change in changes if change is not None])
    tested = len(shares)
    told = [
        _told(history, days, change, shares.pop(0) if change else 1.0, tested)
        for history, days, change in zip(histories, all_days, changes, strict=True)
    ]
    order = list(Verdict)
    return sorted(told, key=lambda one: (order.index(one.verdict), one.change.chance if one.change else 1.0))


def false_shares(chances: Sequence[float]) -> list[float]:
    """Adjust chances of a false alarm for their number (Benjamini and Hochberg 1995): those up to q are q false."""
    order = np.argsort(chances)
    ranked = np.asarray(chances, float)[order] * len(chances) / np.arange(1, len(chances) + 1)
    adjusted = np.empty(len(chances))
    adjusted[order] = np.minimum.accumulate(ranked[::-1])[::-1]
    return [float(min(one, 1.0)) for one in adjusted]


def _told(history: History, days: Days, change: Change | None, false_share: float, tested: int) -> Trend:
    n = len(days.time_s)
    if change is None:
        if n >= LEAST_DAYS:
            meters = _meters(days)
            return Trend(history, days, Verdict.NO_CHANGE, seen=meters)
        return Trend(history, days, Verdict.CANNOT_TELL, _too_few(history, n))
    error = math.hypot(change.error, _meters(days))
    certain = false_share <= FALSE_SHARE
    if certain and abs(change.amount) > error:
        return Trend(history, days, Verdict.CHANGED, "", change, error, false_share)
    if certain:
        why = "the change is no more than two meters may differ by"
        return Trend(history, days, Verdict.CANNOT_TELL, why, change, error, false_share)
    return Trend(history, days, Verdict.NO_CHANGE, "", change, error, false_share, _seen(days, change, tested))


def _too_few(history: History, days: int) -> str:
    without = len({point.started_at.date() for point in history.points}) >= LEAST_DAYS
    if without and history.measure in BY_WEATHER:
        return (
            f"the season changes it, and only {days} days have a temperature (temperature_c): {LEAST_DAYS} are needed"
        )
    return f"measured on {days} days, {LEAST_DAYS} are needed"


def _meters(days: Days) -> float:
    """By how much two meters may differ, of which each is as exact as the values say."""
    return math.sqrt(2) * float(np.median(days.error))


def _seen(days: Days, change: Change, tested: int) -> float:
    """The step in the middle that would have been found with a chance of `_SEEN`."""
    n = len(days.time_s)
    level = FALSE_SHARE / tested / places_tried(n)
    needed = student_quantile(1 - level / 2, n - 4) + NormalDist().inv_cdf(_SEEN)
    return math.hypot(needed * change.noise * 2 * math.sqrt(change.excess / n), _meters(days))
