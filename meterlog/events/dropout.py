"""A supply that falls to half or less and returns."""

from __future__ import annotations

from typing import NamedTuple

from meterlog.events.event import Event
from meterlog.events.measure import Measure, Timing
from meterlog.signal.edges import Edge
from meterlog.text.figures import shown


class Outage(NamedTuple):
    """One interruption, before it is known whether it is a dropout, part of chatter, or the space between two pulses.

    Attributes:
        readings: how many readings show it.
        level: its low state level.
        extreme: its lowest reading.
        reference: what the supply was before.
    """

    timing: Timing
    fall: Edge
    back: Edge
    readings: int
    level: float
    extreme: float
    reference: float


def outage(measure: Measure, fall: int, back: int, stop: int, reference: float, noise: float) -> Outage:
    """Measure the interruption that readings [fall, back) show, using readings before `stop`.

    The duration is taken at the mid level between the reference and the low state (IEEE Std 181).
    """
    level = measure.inside(fall, back)
    noise = max(noise, measure.noise(fall + 1, back - 1))
    start = measure.edge(fall, reference, level, noise, back)
    end = measure.edge(back, level, reference, noise, stop)
    timing = measure.timing(start, end, back)
    return Outage(timing, start, end, back - fall, level, measure.lowest(fall, back), reference)


def dropout(measure: Measure, found: Outage) -> Event:
    """The interruption as an event."""
    timing = found.timing
    detail = f"fell to {found.extreme:.2f} {measure.unit} for {shown(timing.duration_s, 's', timing.error_s)}"
    if found.readings < 2:
        detail += "; perhaps shorter than one reading: the true lowest voltage may be lower"
    return Event(
        "dropout",
        measure.channel,
        timing.start_s,
        timing.end_s,
        timing.duration_s,
        timing.error_s,
        level=found.level,
        extreme=found.extreme,
        reference=found.reference,
        detail=detail,
    )
