"""Parasitic draw: what is still drawn when all is off, and whether the control units went to sleep."""

from __future__ import annotations

import math

import numpy as np

from meterlog.findings.evidence import Evidence
from meterlog.findings.finding import Alternative, Finding
from meterlog.findings.judgement import judge
from meterlog.findings.level import Level, level_of, thin
from meterlog.findings.line import limit_lines
from meterlog.reading import Quantity
from meterlog.series import Series
from meterlog.session.model import Channel
from meterlog.text.figures import seconds, shown

_LEAST_S = 30.0
_MOST_A = 2.0
"""A current of 30 s or more that ends below 2 A is taken for a draw at rest, where its label names the battery or the
draw, or a `key-off` marker stands in it; defaults, unverified. Any other current is some load's."""
_IN_USE = Alternative(
    "Nothing says that all was switched off.", "What decides: a `key-off` marker, and the current 75 min after it."
)

_END_SHARE = 0.1
"""The last tenth of the time is what is judged: a guess."""


def findings(evidence: Evidence) -> list[Finding]:
    """One finding for each current channel that ends like a draw at rest."""
    return [_draw(evidence, channel, thin(evidence.series(channel)), level) for channel, level in draws(evidence)]


def draws(evidence: Evidence) -> list[tuple[Channel, Level]]:
    """Return each current channel that ends like a draw at rest, with the level at its end, A."""
    found = []
    for channel in evidence.of(Quantity.DC_CURRENT):
        series = thin(evidence.series(channel))
        length_s = float(series.time_s[-1] - series.time_s[0])
        named = channel.measurand.names("battery", "draw", "parasitic") or evidence.marked("key-off")
        if length_s < _LEAST_S or not named or channel.measurand.names("pump", "starter", "alternator", "generator"):
            continue
        level = level_of(series.between(_judged_from_s(series), np.inf), channel.accuracy)
        if level is not None and abs(level.value) <= _MOST_A:
            found.append((channel, level))
    return found


def _draw(evidence: Evidence, channel: Channel, series: Series, level: Level) -> Finding:
    most, after = evidence.limits.figure("draw_asleep_max_a"), evidence.limits.figure("draw_asleep_after_s")
    off = [marker for marker in evidence.marked("key-off") if marker.time_s < series.time_s[-1]]
    start_s = off[-1].time_s if off else float(series.time_s[0])
    waited_s = float(series.time_s[-1]) - start_s
    verdict = judge(abs(level.value), level.error, high=most.span())
    since = "key-off" if off else "the start"
    text = (
        f"{channel.label}: {shown(abs(level.value), 'A', level.error)} at the end, {seconds(waited_s)} after {since}."
    )
    step = _sleep_step(series.between(start_s, np.inf), level)
    text += f" {step}" if step else " No sleep step was seen."
    limit = f"at most {1000 * most.number():g} mA once asleep, {seconds(after.number())} after key-off"
    asleep = math.copysign(most.number(), level.value)
    lines = limit_lines(channel.number, (asleep, asleep), "highest draw once asleep", (_judged_from_s(series), None))
    found = Finding(text, limit, most.cite(), *verdict, channel.number, lines)
    if found.verdict != "outside":
        return found
    if waited_s < after.number():
        awake = f"Control units may take {seconds(after.number())} to sleep."
        return found.unless(
            Alternative(awake, "Wait longer before judging: what decides is the current after that time.")
        )
    at_rest = off or channel.measurand.names("draw", "parasitic")
    return found if at_rest else found.unless(_IN_USE)


def _judged_from_s(series: Series) -> float:
    """From when on the readings count as the end, s."""
    return float(series.time_s[-1] - _END_SHARE * (series.time_s[-1] - series.time_s[0]))


def _sleep_step(series: Series, end: Level) -> str:
    """The last fall from at least twice the end level, in blocks of 1 % of the time so that no single pulse counts."""
    blocks = np.array_split(np.abs(series.value[np.isfinite(series.value)]), 100)
    middles = np.array([np.median(block) if len(block) else np.nan for block in blocks])
    higher = np.flatnonzero(middles > max(2 * abs(end.value), abs(end.value) + 2 * end.error))
    if not len(higher):
        return ""
    last = int(higher[-1])
    at_s = (last + 1) / 100 * float(series.time_s[-1] - series.time_s[0])
    return f"It fell from {shown(float(middles[last]), 'A')} after {seconds(at_s)} (sleep step)."
