"""Judges how far the battery falls while cranking, by its temperature, and says which dips only look like a start."""

from __future__ import annotations

from meterlog.events.event import Event
from meterlog.findings.evidence import Evidence
from meterlog.findings.finding import Alternative, Finding
from meterlog.findings.judgement import judge
from meterlog.findings.level import level_of, resolution_of
from meterlog.findings.line import around, limit_lines
from meterlog.roles import Role
from meterlog.session.model import Channel
from meterlog.text.figures import count, shown

_LISTED = 5
"""So many of the dips are listed with their times."""

_ELSEWHERE = Alternative(
    "This is not the battery's own terminal, which stands higher by the drop on the way:", "measure there."
)
_CRANKED = Alternative(
    "If the engine was cranked then, that is no fault. If not, a load pulled it down: look for a resistance on the "
    "way.",
    "A `crank` marker at the next one decides.",
)


def findings(evidence: Evidence) -> list[Finding]:
    """At most two findings a channel: the deepest dip that is the starter's, and those that only look like it.

    At the battery's own terminals both are held to its floor: nothing but a starter pulls it down so far.
    """
    found = []
    for channel in evidence.playing(Role.SUPPLY):
        dips = [e for e in evidence.events_of(channel, "sag") if e.extreme is not None]
        known = [e for e in dips if evidence.is_crank(e)]
        alike = [e for e in dips if evidence.may_be_crank(e)]
        if channel.measurand.is_battery:
            found += _at_the_battery(evidence, channel, sorted(known + alike, key=lambda e: e.start_s), bool(known))
        else:
            found += [_elsewhere(evidence, channel, known)] if known else []
            found += [_alike(evidence, channel, alike)] if alike else []
    return found


def _at_the_battery(evidence: Evidence, channel: Channel, dips: list[Event], known: bool) -> list[Finding]:
    if not dips:
        return []
    dip = _deepest(dips)
    inside = evidence.series(channel).between(dip.start_s, dip.end_s)
    lowest = dip.extreme or 0.0
    error = channel.accuracy.error(lowest, resolution_of(inside))
    floor, at = evidence.at_temperature("crank_min_v")
    verdict = judge(lowest, error, low=floor)
    when = "while cranking" if known else "in what looks like cranking"
    text = f"{channel.label}: {when} ({_at(dips)}) the lowest reading was {shown(lowest, 'V', error)}."
    usual = level_of(inside, channel.accuracy)
    if len(inside) < 3:
        text += " With so few readings inside, the true lowest voltage may be lower."
    source = evidence.limits.figure("crank_min_v").cite()
    lines = limit_lines(channel.number, floor, "lowest while cranking", around(dip.start_s, dip.end_s))
    limit = f"not below {_range(floor)} V {at}"
    found = Finding(text, limit, source, *verdict, channel.number, lines)
    first_rush = usual is not None and judge(usual.value, usual.error, low=floor).verdict == "within"
    if found.verdict != "outside" or usual is None or not first_rush:
        return [found]
    mostly = f"It stood mostly at {shown(usual.value, 'V', usual.error)}: only the starter's first rush went below it."
    return [found.unless(Alternative(mostly, "What decides: the voltage in the fifth second of a longer crank."))]


def _elsewhere(evidence: Evidence, channel: Channel, dips: list[Event]) -> Finding:
    floor, at = evidence.at_temperature("crank_min_v")
    text = f"{channel.label}: while cranking ({_at(dips)}) {_fell(evidence, channel, dips)}."
    limit = f"not below {_range(floor)} V {at}, at the battery's own terminals"
    source = evidence.limits.figure("crank_min_v").cite()
    return Finding(text, limit, source, "cannot tell", channel=channel.number).unless(_ELSEWHERE)


def _alike(evidence: Evidence, channel: Channel, dips: list[Event]) -> Finding:
    text = (
        f"{channel.label}: {count(len(dips), 'dip')} shaped like a start's ({_at(dips)}): "
        f"{_fell(evidence, channel, dips)}."
    )
    limit = f"no fall below {evidence.limits.detection.sag_share:.0%} but while cranking"
    return Finding(text, limit, "own choice", "cannot tell", channel=channel.number).unless(_CRANKED)


def _fell(evidence: Evidence, channel: Channel, dips: list[Event]) -> str:
    """Return from what to what the deepest one fell, in words."""
    dip = _deepest(dips)
    lowest = dip.extreme or 0.0
    error = channel.accuracy.error(lowest, resolution_of(evidence.series(channel)))
    text = f"the lowest reading was {shown(lowest, 'V', error)}"
    if dip.reference is None:
        return text
    return f"{text}, a drop of {shown(dip.reference - lowest, 'V', 2 * error)} from {shown(dip.reference, 'V', error)}"


def _deepest(dips: list[Event]) -> Event:
    return min(dips, key=lambda e: e.extreme or 0.0)


def _at(dips: list[Event]) -> str:
    """For example `at 12.1 s`, or `at 12.1, 40.2 s; the deepest at 40.2 s`."""
    times = ", ".join(f"{e.start_s:.1f}" for e in dips[:_LISTED]) + (" ..." if len(dips) > _LISTED else "")
    deepest = f"; the deepest of {len(dips)} at {_deepest(dips).start_s:.1f} s" if len(dips) > 1 else ""
    return f"at {times} s{deepest}"


def _range(span: tuple[float, float]) -> str:
    return f"{span[0]:.1f}" if span[0] == span[1] else f"{span[0]:.1f} to {span[1]:.1f}"
