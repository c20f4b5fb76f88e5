"""Finds where in the curves a finding is to be seen: at the times that its words give, or where its limits hold."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import NamedTuple

from meterlog.events.event import Event
from meterlog.findings.finding import Finding

_TIMES = re.compile(r"\(at ((?:\d+\.\d+, )*\d+\.\d+) s\)")
"""Times in a finding's words, s from the session's start, to a tenth."""
_ROUNDED_S = 0.051
"""A time to a tenth is off by at most half of one."""
_MOST = 12
"""Places offered for one finding; by eye."""


class Place(NamedTuple):
    """A stretch of the session that a finding speaks of.

    Attributes:
        start_s: s from the session's start.
        end_s: the same as `start_s` for a moment.
        event: its number in the session's list; None where it is none of them.
    """

    start_s: float
    end_s: float
    event: int | None = None


def places(finding: Finding, events: Sequence[Event]) -> list[Place]:
    """Return the places of a finding in time order; none where it speaks of all of the session.

    Args:
        finding: of a session.
        events: all of that session, in the order of their numbers.
    """
    named = [float(time) for times in _TIMES.findall(finding.text) for time in times.split(", ")]
    found = [_at(time_s, finding.channel, events) for time_s in named]
    if not found:
        found = [
            Place(line.start_s, line.end_s)
            for line in finding.lines
            if line.start_s is not None and line.end_s is not None
        ]
    return sorted(set(found))[:_MOST]


def _at(time_s: float, channel: int | None, events: Sequence[Event]) -> Place:
    for number, event in enumerate(events, 1):
        if abs(event.start_s - time_s) <= _ROUNDED_S and channel in (None, event.channel):
            return Place(event.start_s, event.end_s, number)
    return Place(time_s, time_s)
