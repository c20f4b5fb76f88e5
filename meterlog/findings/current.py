"""The pump's running current: usual, high (tight, stalled, shorted), or none although it is fed (open motor)."""

from __future__ import annotations

from meterlog.findings.evidence import Evidence, is_battery, says
from meterlog.findings.finding import Finding
from meterlog.findings.judge import judge
from meterlog.findings.level import Level, level_of, resolution_of, upper_level
from meterlog.findings.words import shown
from meterlog.reading import Quantity
from meterlog.session.model import Channel


def findings(evidence: Evidence) -> list[Finding]:
    """One finding for each current channel that names the pump."""
    found = []
    for channel in evidence.of(Quantity.DC_CURRENT):
        level = upper_level(evidence.series(channel), channel.accuracy)
        if level is not None and says(channel, "pump"):
            found.append(_running(evidence, channel, level))
    return found


def _running(evidence: Evidence, channel: Channel, level: Level) -> Finding:
    least, most = evidence.limits.figure("pump_current_min_a"), evidence.limits.figure("pump_current_max_a")
    fed = _while_fed(evidence, channel)
    if fed is not None and abs(fed.value) + fed.error < least.number():
        text = (
            f"{channel.label}: {shown(abs(fed.value), 'A', fed.error)} while the pump is fed: voltage right and no "
            "current means an open motor (brush, armature) or its connector, unless the meter's fuse is blown."
        )
        margin = abs(fed.value) - least.number()
        limit = f"more than {least.number():g} A while fed"
        return Finding(text, limit, least.cite(), "outside", margin, fed.error, channel.number)
    error = level.error if level.error else channel.accuracy.error(level.value, resolution_of(evidence.series(channel)))
    verdict = judge(abs(level.value), error, high=most.span(None))
    text = f"{channel.label}: runs at {shown(abs(level.value), 'A', error)}."
    if verdict.verdict == "outside":
        text += " High current means a motor that is tight, stalled or shorted."
    elif level.value < least.number():
        text += " So little may mean that the pump was not fed at the time."
        return Finding(text, "", "", "cannot tell", channel=channel.number)
    return Finding(text, f"usually below {most.number():g} A", most.cite(), *verdict, channel=channel.number)


def _while_fed(evidence: Evidence, channel: Channel) -> Level | None:
    """The current during the longest stretch in which a pump's voltage channel was on; None where none was recorded."""
    pulses = [
        e
        for c in evidence.of(Quantity.DC_VOLTAGE)
        if not is_battery(c) and says(c, "pump")
        for e in evidence.events_of(c, "prime_pulse")
    ]
    if not pulses:
        return None
    longest = max(pulses, key=lambda e: e.end_s - e.start_s)
    return level_of(evidence.series(channel).between(longest.start_s, longest.end_s), channel.accuracy)
