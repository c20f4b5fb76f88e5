"""Judges how far the battery falls while cranking, by its temperature."""

from __future__ import annotations

from meterlog.events.event import Event
from meterlog.findings.evidence import Evidence
from meterlog.findings.finding import Finding
from meterlog.findings.judge import judge
from meterlog.findings.level import level_of, resolution_of
from meterlog.findings.line import around, limit_lines
from meterlog.roles import Role
from meterlog.session.model import Channel
from meterlog.text.figures import shown


def findings(evidence: Evidence) -> list[Finding]:
    """One finding a channel: the deepest dip that is the starter's."""
    found = []
    for channel in evidence.playing(Role.SUPPLY):
        dips = [e for e in evidence.events_of(channel, "sag") if evidence.is_crank(e) and e.extreme is not None]
        if dips:
            found.append(_dip(evidence, channel, min(dips, key=lambda e: e.extreme or 0.0), len(dips)))
    return found


def _dip(evidence: Evidence, channel: Channel, dip: Event, cranks: int) -> Finding:
    inside = evidence.series(channel).between(dip.start_s, dip.end_s)
    lowest = dip.extreme or 0.0
    error = channel.accuracy.error(lowest, resolution_of(inside))
    floor, at = evidence.at_temperature("crank_min_v")
    verdict = judge(lowest, error, low=floor)
    text = (
        f"{channel.label}: while cranking (at {dip.start_s:.1f} s{_of(cranks)}) the lowest reading was "
        f"{shown(lowest, 'V', error)}."
    )
    usual = level_of(inside, channel.accuracy)
    decided = verdict.verdict
    if decided == "outside" and usual is not None and judge(usual.value, usual.error, low=floor).verdict == "within":
        decided = "cannot tell"
        mostly = shown(usual.value, "V", usual.error)
        text += f" It stood mostly at {mostly}: only the starter's first rush went below the floor."
    if decided == "outside" and not channel.measurand.is_battery:
        decided = "cannot tell"
        text += " This is not the battery's own terminal, which stands higher by the drop on the way: measure there."
    if len(inside) < 3:
        text += " With so few readings inside, the true lowest voltage may be lower."
    source = evidence.limits.figure("crank_min_v").cite()
    limit = f"not below {_range(floor)} V {at}"
    lines = limit_lines(channel.number, floor, "lowest while cranking", around(dip.start_s, dip.end_s))
    return Finding(text, limit, source, decided, verdict.margin, verdict.margin_error, channel.number, lines)


def _of(cranks: int) -> str:
    return f", the deepest of {cranks}" if cranks > 1 else ""


def _range(span: tuple[float, float]) -> str:
    return f"{span[0]:.1f}" if span[0] == span[1] else f"{span[0]:.1f} to {span[1]:.1f}"
