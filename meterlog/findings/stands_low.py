"""Says that a supply stands below what any supply of its system stands at, however steady it is."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from meterlog.findings.evidence import Evidence
from meterlog.findings.finding import Alternative, Finding
from meterlog.findings.judgement import judge
from meterlog.findings.level import Level, level_of, thin
from meterlog.findings.line import around, limit_lines
from meterlog.findings.regulated import lower_by_design
from meterlog.kinds import faults
from meterlog.roles import Role
from meterlog.session.model import Channel
from meterlog.text.figures import seconds, shown

_LEAST_S = 10.0
"""A shorter stand is a prime or a start, and not told here, s: as long as the longest prime."""
_SMALLER_V = 7.5
"""A level below this may be another system's, of 6 V or 5 V, where nobody stated the voltage: V, arithmetic."""


class Stand(NamedTuple):
    """The longest time below the floor: from when to when, s, and the level then."""

    start_s: float
    end_s: float
    level: Level


def findings(evidence: Evidence) -> list[Finding]:
    """One finding for each supply that stands too low and of which no event tells that."""
    return [_finding(evidence, c, stand) for c in evidence.playing(Role.SUPPLY) if (stand := stands_low(evidence, c))]


def floor_v(evidence: Evidence) -> float:
    """Return what no supply of the system stands below, V."""
    return evidence.limits.detection.floor_share * evidence.limits.system_v


def stands_low(evidence: Evidence, channel: Channel) -> Stand | None:
    """Find the longest time that a supply was on and below the floor; None where it never stood there for long.

    Times in which an event tells of a fall are left out.
    """
    series = thin(evidence.series(channel))
    size = np.abs(series.value)
    low = (size >= evidence.limits.detection.on_at_least_v) & (size < floor_v(evidence))
    if not low.any():
        return None
    for event in evidence.events_of(channel, *faults()):
        first, last = np.searchsorted(series.time_s, (event.start_s, np.nextafter(event.end_s, np.inf)))
        low[first:last] = False
    if not low.any():
        return None
    edges = np.flatnonzero(np.diff(np.concatenate([[False], low, [False]]).astype(np.int8)))
    starts, stops = edges[::2], edges[1::2]
    lengths_s = series.time_s[stops - 1] - series.time_s[starts]
    longest = int(lengths_s.argmax())
    if lengths_s[longest] < _LEAST_S:
        return None
    chosen = np.zeros(len(low), np.bool_)
    chosen[starts[longest] : stops[longest]] = True
    level = level_of(series, channel.accuracy, chosen)
    assert level is not None  # what is chosen is finite
    return Stand(float(series.time_s[starts[longest]]), float(series.time_s[stops[longest] - 1]), level)


def _finding(evidence: Evidence, channel: Channel, stand: Stand) -> Finding:
    floor, system_v, level = floor_v(evidence), evidence.limits.system_v, stand.level
    what = "battery" if channel.measurand.is_battery else "supply"
    verdict = judge(level.value, level.error, low=(floor, floor))
    length = seconds(stand.end_s - stand.start_s)
    text = (
        f"{channel.label}: it stood at {shown(level.value, 'V', level.error)} for {length}. "
        f"No {system_v:g} V {what} in order stands below {floor:g} V for so long."
    )
    smaller = evidence.limits.assumed and abs(level.value) < _SMALLER_V
    if what == "battery" and not smaller:
        text += " It is empty or has a bad cell: hold the probes to its posts and read again."
    source = "1.75 V a cell, where a lead-acid battery counts as empty under load: default, unverified (grade M)"
    lines = limit_lines(channel.number, (floor, floor), "lowest of the system", around(stand.start_s, stand.end_s))
    limit = f"at least {floor:g} V while on"
    found = Finding(text, limit, source, *verdict, channel.number, lines)
    if smaller:
        return found.unless(Alternative(f"It may be none of {system_v:g} V.", "Say which it is: --set system_v=..."))
    if what == "battery":
        return found
    design = lower_by_design(channel, level.value)
    return found if design is None else found.unless(design)
