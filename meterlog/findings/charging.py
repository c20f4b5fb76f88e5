"""The charging voltage: the level that the battery is held at, and whether it is charged at all after a start."""

from __future__ import annotations

import numpy as np

from meterlog.findings.evidence import Evidence
from meterlog.findings.finding import Alternative, Finding
from meterlog.findings.judgement import judge
from meterlog.findings.level import level_of, thin
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
    series = thin(evidence.series(channel))
    above = np.isfinite(series.value) & (series.value > evidence.limits.value("rest_full_v"))
    length_s = _time_where(series, above)
    if length_s >= _LEAST_S:
        return [_level(evidence, channel, series, above, length_s)]
    return _absent(evidence, channel, series)


def _time_where(series: Series, chosen: np.ndarray) -> float:
    """Return how long the readings were chosen, s: each counts until the next, at most five usual intervals."""
    steps = np.diff(series.time_s)
    if not len(steps):
        return 0.0
    return float(np.minimum(steps, 5 * np.median(steps))[chosen[:-1]].sum())


def _level(evidence: Evidence, channel: Channel, series: Series, above: np.ndarray, length_s: float) -> Finding:
    level = level_of(series, channel.accuracy, above)
    assert level is not None  # there are readings above, or length_s were 0
    lowest, at = evidence.at_temperature("charging_min_v")
    highest, _ = evidence.at_temperature("charging_max_v")
    verdict = judge(level.value, level.error, low=lowest, high=highest)
    text = f"{channel.label}: charged at {shown(level.value, 'V', level.error)} for {seconds(length_s)}."
    limit = f"{_span(lowest)} to {_span(highest)} V {at}"
    charged = series.time_s[above]
    stretch = (float(charged[0]), float(charged[-1]))
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
