"""A trend as sentences, and as `trends --json` gives it."""

from __future__ import annotations

import math
from datetime import UTC, datetime

from meterlog.text.figures import count, shown
from meterlog.text.safe import one_line
from meterlog.trends.history import DAY_S
from meterlog.trends.judge import Trend, Verdict

_MONTH_DAYS = 30.44
"""A month's mean length."""

NO_FAULT_YET = "A change is no fault yet: the vehicle's service information says what is allowed."

_MOST_POWER = 6
"""No model of what is measured is so true that a smaller chance would mean anything; a choice."""


def sentence(trend: Trend) -> str:
    """Say what has become of a measure, by how much, and since when."""
    unit, change = trend.history.unit, trend.change
    if trend.verdict is Verdict.CANNOT_TELL:
        return f"cannot tell: {trend.why}"
    if trend.verdict is Verdict.NO_CHANGE or change is None:
        seen = f"; one of {shown(trend.seen, unit)} would have been seen" if trend.seen is not None else ""
        return f"no change shown in {count(len(trend.days.time_s), 'day')}{seen}"
    word = "rose" if change.amount > 0 else "fell"
    worse = {True: ", which is worse", False: ", which is no wear", None: ""}[trend.worse]
    how = {"step": "at once", "slope": "slowly", "either": "at once or slowly"}[change.shape]
    slope = ""
    if change.slope_per_s is not None and change.shape != "step":
        per_month = abs(change.slope_per_s) * DAY_S * _MONTH_DAYS
        slope = f", {shown(per_month, unit, change.slope_error * DAY_S * _MONTH_DAYS)} a month"
    by = shown(abs(change.amount), unit, trend.error)
    return f"{word} by {by}{worse}: {how}{slope}; {began(trend)}; {chance_words(trend.false_share)}"


def began(trend: Trend) -> str:
    """Say between which months, or days of one month, a change began."""
    assert trend.change is not None
    before = day(trend.change.before_s)
    if trend.change.after_s is None:
        return f"began before {before:%d %B %Y}"
    after = day(trend.change.after_s)
    if (after.year, after.month) == (before.year, before.month):
        return f"began between {after.day} and {before:%d %B %Y}"
    year = f" {after.year}" if after.year != before.year else ""
    return f"began between {after:%B}{year} and {before:%B %Y}"


def chance_words(share: float) -> str:
    """Say how many of the changes that are as certain as this one are false alarms, to the next power of ten."""
    power = min(_MOST_POWER, math.floor(-math.log10(max(share, 10.0**-_MOST_POWER))))
    return f"of {10**power:,} such alarms at most one is false"


def as_text(trends: list[Trend], *, everything: bool) -> str:
    """Return what has changed, vehicle by vehicle, and how much was looked at.

    Args:
        trends: as `judge` gives them.
        everything: with a line for each history that has not changed, or of which nothing can be told.
    """
    changed = [trend for trend in trends if trend.verdict is Verdict.CHANGED]
    vehicles = {trend.history.vehicle for trend in trends}
    lines = []
    for vehicle in dict.fromkeys(trend.history.vehicle for trend in (trends if everything else changed)):
        lines.append(one_line(vehicle))
        some = [trend for trend in trends if trend.history.vehicle == vehicle]
        lines += [_line(trend) for trend in some if everything or trend.verdict is Verdict.CHANGED]
    unclear = sum(trend.verdict is Verdict.CANNOT_TELL for trend in trends)
    lines.append(
        f"{count(len(vehicles), 'vehicle')}, {len(trends)} measures of them: {len(changed)} changed, "
        f"{len(trends) - len(changed) - unclear} show no change, of {unclear} it cannot be told"
    )
    if unclear and not everything:
        lines.append("--all says why, and how large a change would have been seen")
    if changed:
        lines.append(NO_FAULT_YET)
    return "\n".join(lines) + "\n"


def as_json(trend: Trend) -> dict[str, object]:
    """The object of a trend; what is absent is null."""
    history, change = trend.history, trend.change if trend.verdict is Verdict.CHANGED else None
    return {
        "vehicle": history.vehicle,
        "label": history.label,
        "measure": history.measure,
        "unit": history.unit,
        "sessions": len({point.session for point in history.points}),
        "days": len(trend.days.time_s),
        "verdict": str(trend.verdict),
        "why": trend.why or None,
        "worse": trend.worse,
        "change": change.amount if change else None,
        "change_error": trend.error if change else None,
        "shape": change.shape if change else None,
        "slope_per_day": change.slope_per_s * DAY_S if change and change.slope_per_s is not None else None,
        "slope_error_per_day": change.slope_error * DAY_S if change and change.slope_per_s is not None else None,
        "began_after": day(change.after_s).isoformat() if change and change.after_s is not None else None,
        "began_before": day(change.before_s).isoformat() if change else None,
        "chance": trend.change.chance if trend.change else None,
        "false_share": trend.false_share if trend.change else None,
        "seen": trend.seen,
    }


def _line(trend: Trend) -> str:
    return f"  {one_line(trend.history.label)}, {trend.history.measure}: {sentence(trend)}"


def day(time_s: float) -> datetime:
    """Return the moment, in UTC, of s since 1970."""
    return datetime.fromtimestamp(time_s, UTC)
