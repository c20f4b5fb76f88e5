"""A current that falls to a tenth of its level or less and returns."""

from __future__ import annotations

from typing import NamedTuple

from meterlog.events.event import Event
from meterlog.events.measure import Measure
from meterlog.signal.edges import Edge
from meterlog.text.figures import shown


class Interruption(NamedTuple):
    """A stretch without current.

    Attributes:
        fall: its beginning.
        back: its end.
        first: its first reading.
        returned: the first reading after it.
        level: what still flowed, A.
        extreme: the least that still flowed, A.
        reference: what flowed before, A.
    """

    fall: Edge
    back: Edge
    first: int
    returned: int
    level: float
    extreme: float
    reference: float


def interruption(measure: Measure, found: Interruption) -> Event:
    """The stretch as an event, timed at the mid level (IEEE Std 181)."""
    timing = measure.timing(found.fall, found.back, found.returned)
    detail = (
        f"fell from {found.reference:.2f} to {found.extreme:.2f} A for {shown(timing.duration_s, 's', timing.error_s)}"
    )
    if found.returned - found.first < 2:
        detail += "; perhaps shorter than one reading"
    return Event(
        "interruption",
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
