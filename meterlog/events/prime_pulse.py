"""A prime: an idle-low supply goes on for a few seconds and off again."""

from __future__ import annotations

from dataclasses import dataclass
from math import inf

import numpy as np
from numpy.typing import NDArray

from meterlog.events.event import Event
from meterlog.events.measure import Measure
from meterlog.events.settings import DetectionSettings
from meterlog.signal.edges import Edge
from meterlog.signal.levels import high_level, median
from meterlog.signal.pulse import pulse_shape
from meterlog.text.figures import shown

_DROOP_SHARE = 0.03
"""A droop of a pulse's top that is worth a word: a choice."""
_OVERSHOOT_SHARE = 0.05
"""An overshoot that is worth a word: a choice."""
_INRUSH_SHARE = 1.5
"""Readings above the median by this factor are an inrush or a spike and not its level: a guess."""


@dataclass(slots=True)
class Stretch:
    """An 'on' interval.

    Attributes:
        rise: its first reading.
        edge: its beginning; None where that was not seen.
        begin_s: when it began, or the first reading that shows it, s.
        from_start: the recording began with it, so it may be much older.
        end_s: when it ended, s; inf while it lasts.
        broken: chatter fills it from end to end.
    """

    rise: int
    edge: Edge | None
    begin_s: float
    from_start: bool = False
    end_s: float = inf
    broken: bool = False


def prime_pulse(
    measure: Measure, stretch: Stretch, fall: int, end: Edge, settings: DetectionSettings, sign: float = 1.0
) -> Event | None:
    """The prime that an 'on' interval was, when it began in sight, ended at reading `fall`, and is one by length.

    `sign` is -1 for a current whose clamp reads it backwards.
    """
    if stretch.edge is None or stretch.broken:
        return None
    timing = measure.timing(stretch.edge, end, fall)
    # At the limits the doubt goes half way to the pulse: a prime that two readings show is still a prime.
    doubt = timing.error_s / 2
    if not settings.prime_shortest_s - doubt <= timing.duration_s <= settings.prime_longest_s + doubt:
        return None
    values = sign * measure.track.values(stretch.rise, fall)
    inner = values[1:-1] if len(values) > 2 else values.max(keepdims=True)  # the outer ones may be partial
    settled = inner[inner <= _INRUSH_SHARE * median(inner)]
    # With an idle reading, so that the histogram is split between idle and 'on', and not between 'on' and a spike.
    level = high_level(np.append(settled, sign * measure.track.value(stretch.rise - 1)))
    return Event(
        "prime_pulse",
        measure.channel,
        timing.start_s,
        timing.end_s,
        timing.duration_s,
        timing.error_s,
        level=level,
        extreme=float(inner.min()),
        detail=f"on for {shown(timing.duration_s, 's', timing.error_s)} at {level:.2f} {measure.unit}"
        + _shape(measure, sign * measure.track.values(stretch.rise - 1, fall + 1), level),
    )


def _shape(measure: Measure, values: NDArray[np.float64], level: float) -> str:
    """Return what is unusual in the pulse's shape, in words."""
    if values.max() > _INRUSH_SHARE * level:
        return f", with a peak of {values.max():.2f} {measure.unit}"
    shape = pulse_shape(values)
    if shape is None:
        return ""
    words = f", drooping by {shape.droop:.0%}" if shape.droop >= _DROOP_SHARE else ""
    return words + (f", {shape.overshoot:.0%} overshoot" if shape.overshoot >= _OVERSHOOT_SHARE else "")
