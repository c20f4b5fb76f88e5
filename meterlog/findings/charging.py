"""The charging voltage: the level that the battery is held at, and whether it is charged at all after a start."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from meterlog.findings.evidence import Evidence
from meterlog.findings.finding import Alternative, Finding
from meterlog.findings.judgement import judge
from meterlog.findings.level import Level, level_of, thin
from meterlog.findings.line import limit_lines
from meterlog.series import Series
from meterlog.session.model import Channel
from meterlog.text.figures import seconds, shown

_LEAST_S = 10.0
"""Charging shorter than this is not judged, s; default, unverified."""

_SMART = Alternative(
    "Smart charging sits lower or higher by design, and the cold raises it.",
    "What decides: the vehicle's service information, and the voltage with lamps, blower and rear window on at a fast "
    "idle: a regulated generator then goes to its full voltage.",
)
_NOT_RUNNING = Alternative(
    "Either the engine did not run, or the generator does not charge.",
    "What decides: the same with the engine running for a minute.",
)


def findings(evidence: Evidence) -> list[Finding]:
    """At most one finding, about the battery's own channel."""
    channel = evidence.battery
    if channel is None:
        return []
    charged = charging(evidence, channel)
    if charged is not None:
        return [_judged(evidence, channel, charged)]
    return _absent(evidence, channel, thin(evidence.series(channel)))


class Charging(NamedTuple):
    """A stretch in which a battery is charged.

    Attributes:
        level: the voltage that it is held at, V.
        length_s: how long in all, s.
        start_s: of the first reading above a battery at rest, s from the session's start.
        end_s: of the last.
    """

    level: Level
    length_s: float
    start_s: float
    end_s: float


def charging(evidence: Evidence, channel: Channel) -> Charging | None:
    """Return how a battery is charged; None where it is not, or too short to be judged."""
    series = thin(evidence.series(channel))
    above = np.isfinite(series.value) & (series.value > evidence.limits.value("rest_full_v"))
    length_s = _time_where(series, above)
    level = level_of(series, channel.accuracy, above)
    if level is None or length_s < _LEAST_S:
        return None
    charged = series.time_s[above]
    return Charging(level, length_s, float(charged[0]), float(charged[-1]))


def _time_where(series: Series, chosen: np.ndarray) -> float:
    """Return how long the readings were chosen, s: each counts until the next, at most five usual intervals."""
    steps = np.diff(series.time_s)
    if not len(steps):
        return 0.0
    return float(np.minimum(steps, 5 * np.median(steps))[chosen[:-1]].sum())


def _judged(evidence: Evidence, channel: Channel, charged: Charging) -> Finding:
    level = charged.level
    lowest, at = evidence.at_temperature("charging_min_v")
    highest, _ = evidence.at_temperature("charging_max_v")
    verdict = judge(level.value, level.error, low=lowest, high=highest)
    text = f"{channel.label}: charged at {shown(level.value, 'V', level.error)} for {seconds(charged.length_s)}."
    limit = f"{_span(lowest)} to {_span(highest)} V {at}"
    stretch = (charged.start_s, charged.end_s)
    lines = limit_lines(channel.number, lowest, "least while charging", stretch)
    lines += limit_lines(channel.number, highest, "most while charging", stretch)
    found = Finding(text, limit, evidence.limits.figure("charging_min_v").cite(), *verdict, channel.number, lines)
    return found if found.verdict == "within" else found.unless(_SMART)


def _absent(evidence: Evidence, channel: Channel, series: Series) -> list[Finding]:
    cranks = [e for e in evidence.events_of(channel, "sag") if evidence.is_crank(e)]
    if not cranks:
        return []
    after = series.between(cranks[-1].end_s + 1.0, evidence.duration_s)
    level = level_of(after, channel.accuracy)
    if level is None or after.time_s[-1] - after.time_s[0] < _LEAST_S:
        return []
    least, at = evidence.at_temperature("charging_min_v")
    text = f"{channel.label}: after cranking it stood at {shown(level.value, 'V', level.error)}, which is not charging."
    limit = f"at least {_span(least)} V {at} with the engine running"
    source = evidence.limits.figure("charging_min_v").cite()
    verdict = judge(level.value, level.error, low=least)
    lines = limit_lines(channel.number, least, "least while charging", (float(after.time_s[0]), None))
    return [Finding(text, limit, source, *verdict, channel.number, lines).unless(_NOT_RUNNING)]


def _span(span: tuple[float, float]) -> str:
    return f"{span[0]:.1f}" if span[0] == span[1] else f"({span[0]:.1f}-{span[1]:.1f})"
