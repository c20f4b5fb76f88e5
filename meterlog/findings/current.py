"""The pump's running current: usual, high (tight, stalled, shorted), or none although it is fed (open motor)."""

from __future__ import annotations

import math

from meterlog.findings.evidence import Evidence
from meterlog.findings.finding import Alternative, Finding
from meterlog.findings.judgement import judge
from meterlog.findings.level import Level, level_of, upper_level
from meterlog.findings.line import Line, limit_lines
from meterlog.limits.figure import Figure
from meterlog.reading import Quantity
from meterlog.roles import Role
from meterlog.session.model import Channel
from meterlog.text.figures import count, shown

_METERS_FUSE = Alternative(
    "A blown fuse in the meter, or a clamp that was not closed, reads the same.",
    "What decides: the same meter on a load that is known to run, or the voltage across the pump's own terminals.",
)


def findings(evidence: Evidence) -> list[Finding]:
    """One finding for each current channel that names the pump."""
    found = []
    for channel in evidence.of(Quantity.DC_CURRENT):
        level = upper_level(evidence.series(channel), channel.accuracy)
        if level is not None and channel.measurand.names("pump"):
            found.append(_running(evidence, channel, level))
    return found


def _running(evidence: Evidence, channel: Channel, level: Level) -> Finding:
    least, most = evidence.limits.figure("pump_current_min_a"), evidence.limits.figure("pump_current_max_a")
    fed = _while_fed(evidence, channel)
    idle = [one for one in fed if abs(one.value) + one.error < least.number()]
    if idle:
        text = (
            f"{channel.label}: {shown(abs(idle[0].value), 'A', idle[0].error)} at {len(idle)} of "
            f"{count(len(fed), 'prime')} although the pump was fed: voltage right and no current "
            "means an open motor (brush, armature), its connector or its ground."
        )
        margin = abs(idle[0].value) - least.number()
        limit = f"more than {least.number():g} A while fed"
        lines = _lines(channel, least, level, "least pump current while fed")
        found = Finding(text, limit, least.cite(), "outside", margin, idle[0].error, channel.number, lines)
        return found if abs(level.value) >= least.number() else found.unless(_METERS_FUSE)
    verdict = judge(abs(level.value), level.error, high=most.span())
    text = f"{channel.label}: runs at {shown(abs(level.value), 'A', level.error)}."
    if verdict.verdict == "outside":
        text += " High current means a motor that is tight, stalled or shorted."
    elif abs(level.value) < least.number():  # a clamp the other way round shows a minus
        text += " So little may mean that the pump was not fed at the time."
        return Finding(text, "", "", "cannot tell", channel=channel.number)
    lines = _lines(channel, most, level, "usual highest pump current")
    return Finding(text, f"usually below {most.number():g} A", most.cite(), *verdict, channel.number, lines)


def _lines(channel: Channel, figure: Figure, level: Level, words: str) -> tuple[Line, ...]:
    """The limit on the side on which the current reads: a clamp the other way round shows a minus."""
    limit = math.copysign(figure.number(), level.value)
    return limit_lines(channel.number, (limit, limit), words)


def _while_fed(evidence: Evidence, channel: Channel) -> list[Level]:
    """The current during each prime that a pump's voltage channel showed."""
    pulses = [
        pulse
        for other in evidence.playing(Role.SUPPLY)
        if not other.measurand.is_battery and other.measurand.names("pump")
        for pulse in evidence.events_of(other, "prime_pulse")
    ]
    series = evidence.series(channel)
    levels = [level_of(series.between(p.start_s, p.end_s), channel.accuracy) for p in pulses]
    return [level for level in levels if level is not None]
