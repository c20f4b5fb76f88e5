"""Tells the starter's dips from others: by a marker, by the charging that begins after them, or by their shape.

A start is a step down from rest, an inrush and then compressions that ripple around a plateau above 6 V, and a step
back to the rest level. Charging begins 1.5 to 18 s later (median 3.4 s of 80 real starts of one car), or never. A load
on a bad feed may look the same, so the shape alone says 'perhaps'.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from meterlog.events.event import Event
from meterlog.events.measure import Measure
from meterlog.events.reference import CHARGING_SHARE
from meterlog.events.settings import SYSTEM_SPLIT_V, DetectionSettings
from meterlog.session.model import Marker

CRANK = "crank"
CRANKING = "cranking, by"
"""Begins the words of a dip that is known to be the starter's,"""
BY_SHAPE = "perhaps cranking (it has that shape)"
"""and these are the words of one that only looks like it."""
CRANK_BEFORE_S = 3.0
"""A `crank` marker may be set so long before the dip, s: the key, the relay and a slow hand. A guess."""
CHARGING_WITHIN_S = 20.0
"""Charging that begins within this after a dip makes it a start, s: 1.5 to 18 s on real starts of a car, rounded up."""
_CHARGING_TOP_SHARE = 15.5 / 12.0
"""The highest charging voltage over the nominal one: makers' figures reach 15.1 V cold; rounded up."""
_CHARGING_RISE = 1.04
"""A level above the one before the dip by this factor is charging, and no rest level that came back: a guess."""
_REST_SHARES = (0.9, 1.1)
"""A battery at rest over its nominal voltage, 10.8 to 13.2 V: nearly empty, to full with surface charge."""
_LOWEST_SHARE = 0.5
"""A starter still turns down to this share of the nominal voltage, 6 V: usual figures of cold starts (ISO 16750-2)."""
_LENGTH_S = (0.3, 15.0)
"""Shortest and longest start, s: one compression or two; makers say to crank 15 s at the most."""
_STEP_SHARE = 0.96
"""Two readings before the dip a supply still stands within this share of its rest level: a guess."""
_BACK_SHARE = 0.95
"""The second reading after it is back within this share of the rest level, or above: a guess."""
_TELLING_READINGS = 6
"""Readings of a dip that would show a ripple: a guess; fewer may all fall on the same phase of it."""
_FLAT_SHARE = 0.004
"""A plateau that moves by less than this share of the rest level, 0.05 V, or no more than noise does, is no
starter's: a guess."""


class Shape(NamedTuple):
    """A dip as its readings show it; levels in V, times in s.

    Attributes:
        rest: the level before it.
        lowest: its lowest reading.
        back: the second reading after it, or the first where there is one only.
        start: its first reading,
        stop: and the first one after it.
        length_s: how long it took,
        error_s: and the error of that.
        noise: half-width of what readings at rest stray.
    """

    rest: float
    lowest: float
    back: float
    start: int
    stop: int
    length_s: float
    error_s: float
    noise: float


def charging_from(rest: float, settings: DetectionSettings) -> float:
    """The lowest level after a start from rest that is charging, V."""
    return max(CHARGING_SHARE * _nominal(rest, settings), _CHARGING_RISE * rest)


def crank_words(
    measure: Measure, shape: Shape, span_s: tuple[float, float], markers: Sequence[Marker], settings: DetectionSettings
) -> str:
    """Return why a dip is the starter's, known by its end; '' where nothing says so.

    Args:
        measure: of the channel.
        shape: of the dip.
        span_s: from when to when it lasted, s.
        markers: the session's.
        settings: the system's voltage.
    """
    if any(m.name == CRANK and span_s[0] - CRANK_BEFORE_S <= m.time_s <= span_s[1] for m in markers):
        return f"{CRANKING} the crank marker"
    highest = _CHARGING_TOP_SHARE * _nominal(shape.rest, settings)
    if charging_from(shape.rest, settings) <= shape.back <= highest:
        return f"{CRANKING} the recovery to a charging level of {shape.back:.2f} V"
    return BY_SHAPE if _looks_like_a_start(measure, shape, settings) else ""


def may_be_a_start(event: Event) -> bool:
    """Tell whether a dip is short enough for a start, and not known to be one."""
    return CRANKING not in event.detail and (event.duration_s or 0.0) <= _LENGTH_S[1]


def charging_words(wait_s: float) -> str:
    """Say that charging began so long after a dip, s."""
    return f"{CRANKING} the charging that began {wait_s:.1f} s after it"


def _looks_like_a_start(measure: Measure, shape: Shape, settings: DetectionSettings) -> bool:
    """Tell whether a dip has a start's shape."""
    nominal = _nominal(shape.rest, settings)
    if not _REST_SHARES[0] * nominal <= shape.rest <= _REST_SHARES[1] * nominal:
        return False
    if shape.lowest < _LOWEST_SHARE * nominal or shape.back < _BACK_SHARE * shape.rest:
        return False
    shortest_s, longest_s = _LENGTH_S
    if not shortest_s - shape.error_s <= shape.length_s <= longest_s + shape.error_s:
        return False
    track = measure.track
    if shape.start >= 2 and track.value(shape.start - 2) < _STEP_SHARE * shape.rest:
        return False
    inner = track.values(shape.start + 1, shape.stop - 1)
    still = max(_FLAT_SHARE * shape.rest, 2.0 * shape.noise)
    return len(inner) < _TELLING_READINGS or float(np.ptp(inner)) >= still


def _nominal(rest: float, settings: DetectionSettings) -> float:
    return settings.system_v or (24.0 if rest > SYSTEM_SPLIT_V else 12.0)
