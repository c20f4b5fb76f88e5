"""A supply that dips below the sag threshold without going off (terms of IEC 61000-4-30, used here on DC)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from meterlog.events.cranking import BY_SHAPE, Shape, charging_words, crank_words
from meterlog.events.event import Event
from meterlog.events.measure import Measure
from meterlog.events.settings import DetectionSettings
from meterlog.session.model import Marker
from meterlog.signal.levels import median

_STILL_RISING = 1.5
"""Of two readings in a recovery the next goes on by at most so many times their step: a guess."""


class Dip(NamedTuple):
    """Readings [start, back) below the threshold; readings from `quiet` on were at rest; `stop` ends what is known."""

    quiet: int
    start: int
    back: int
    stop: int
    reference: float


def sag(measure: Measure, dip: Dip, markers: Sequence[Marker], settings: DetectionSettings) -> Event | None:
    """The dip as an event; None where it only grazes the threshold."""
    track = measure.track
    level, residual = measure.inside(dip.start, dip.back), measure.lowest(dip.start, dip.back)
    at_rest = measure.noise(dip.quiet, dip.start)
    noise = max(at_rest, measure.noise(dip.start + 1, dip.back - 1))
    # The level must be below the threshold for more reason than the noise of its readings.
    least = settings.sag_share * dip.reference - noise / (dip.back - dip.start) ** 0.5
    if level >= least and residual >= (settings.sag_share - settings.sag_hysteresis) * dip.reference - noise:
        return None
    local = measure.before(dip.start, dip.quiet) if dip.start - dip.quiet >= 3 else dip.reference
    after = track.values(dip.back, dip.stop)
    recovered = float(after[min(1, len(after) - 1)]) if len(after) else dip.reference
    # Where it goes on rising (a battery recovers, charging begins), a first reading below the next is not partial.
    rising = _STILL_RISING * abs(float(after[2] - after[1])) if len(after) > 2 else 0.0
    fallen = _near(measure, dip.start + 1, dip.back, level)
    lately = _near(measure, dip.back - 4, dip.back - 1, level, dip.start)
    first = measure.edge(dip.start, local, fallen, noise, dip.back)
    last = measure.edge(dip.back, lately, recovered, max(noise, rising), dip.stop)
    timing = measure.timing(first, last, dip.back)
    shape = Shape(local, residual, recovered, dip.start, dip.back, timing.duration_s, timing.error_s, at_rest)
    crank = crank_words(measure, shape, (timing.start_s, timing.end_s), markers, settings)
    return Event(
        "sag",
        measure.channel,
        timing.start_s,
        timing.end_s,
        timing.duration_s,
        timing.error_s,
        level=level,
        extreme=residual,
        reference=dip.reference,
        detail=_words(dip, residual, crank),
    )


def open_sag(measure: Measure, dip: Dip) -> Event:
    """A deep dip that had not ended when the readings did."""
    track = measure.track
    begin, last = track.time(dip.start), track.time(dip.back - 1)
    residual = measure.lowest(dip.start, dip.back)
    return Event(
        "sag",
        measure.channel,
        begin,
        last,
        level=measure.inside(dip.start, dip.back),
        extreme=residual,
        reference=dip.reference,
        detail=f"sagged to {residual:.2f} V ({residual / dip.reference:.0%} of {dip.reference:.2f} V) and had not "
        f"recovered {last - begin:.1f} s later, when the readings ended",
    )


def _near(measure: Measure, start: int, stop: int, otherwise: float, least: int = 0) -> float:
    start, stop = max(start, least), min(stop, start + 4)
    values = measure.track.values(start, stop) if stop > start else np.empty(0)
    return median(values) if len(values) else otherwise


def _words(dip: Dip, residual: float, crank: str) -> str:
    words = f"sagged to {residual:.2f} V ({residual / dip.reference:.0%} of {dip.reference:.2f} V)"
    words += f"; {crank}" if crank else ""
    if dip.back - dip.start < 2:
        words += "; shorter than one reading: the true lowest voltage may be lower"
    return words


def begins_charging(event: Event, wait_s: float) -> Event:
    """The same dip, now that charging has begun so long after it, s: it was the starter's."""
    return replace(event, detail=f"{event.detail.replace(f'; {BY_SHAPE}', '')}; {charging_words(wait_s)}")
