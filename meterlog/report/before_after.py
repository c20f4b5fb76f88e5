"""The one picture of a repair: what was read before and after, beside what a sound circuit shows."""

from __future__ import annotations

import math
from dataclasses import dataclass

from meterlog.circuit.readings.measurement import Measurement
from meterlog.job.reading_again import Again, error_of
from meterlog.text.ids import plain

WIDTH, MARGIN = 600.0, 60.0
"""Of the drawing, and what its sides leave free for words, in its own units."""
_OHM_FROM = 0.05
"""Ohms are drawn on a logarithmic scale from here, ohm: opens and good contacts stand on one line. A choice."""
_ROOM = 0.12
"""Share of the values' span that is left free on either side. A choice."""


@dataclass(frozen=True, slots=True)
class Mark:
    """A reading on the line.

    Attributes:
        x, low, high: where it and its error stand.
        words: the reading with its error.
        anchor: how its words stand to x, as SVG names it.
    """

    x: float
    low: float
    high: float
    words: str
    anchor: str


@dataclass(frozen=True, slots=True)
class Line:
    """One deciding place.

    Attributes:
        place: what is read where.
        low, high: where the band of a sound circuit stands.
        sound: that band in words.
        before, after: None where it was not read.
    """

    place: str
    low: float
    high: float
    sound: str
    before: Mark | None
    after: Mark | None


def line(one: Again) -> Line:
    """Lay a place out on its own scale, from the least to the most that was read or is expected."""
    logarithmic = one.before.quantity == "resistance"
    readings = [m for m in (one.before, *one.after[-1:]) if not math.isnan(m.value)]
    finite = [_scaled(value, logarithmic=logarithmic) for value in (*one.sound, *(m.value for m in readings))]
    known = [value for value in finite if math.isfinite(value)] or [0.0]
    room = max(_ROOM * (max(known) - min(known)), 0.1)
    least, most = min(known) - room, max(known) + room

    def x(value: float) -> float:
        scaled = min(max(_scaled(value, logarithmic=logarithmic), least), most)
        return round(MARGIN + (WIDTH - 2 * MARGIN) * (scaled - least) / (most - least), 1)

    def mark(m: Measurement, words: str) -> Mark:
        error = error_of(one.circuit, m)
        off = 0.0 if math.isnan(error) else error
        at = x(m.value)
        anchor = "start" if at < 0.3 * WIDTH else "end" if at > 0.7 * WIDTH else "middle"
        return Mark(at, x(m.value - off), x(m.value + off), words, anchor)

    before = None if math.isnan(one.before.value) else mark(one.before, one.before_words)
    after = mark(one.after[-1], one.after_words) if one.after else None
    return Line(plain(one.place), x(one.sound[0]), x(one.sound[1]), one.sound_words, before, after)


def _scaled(value: float, *, logarithmic: bool) -> float:
    return math.log10(max(value, 0.0) + _OHM_FROM) if logarithmic and math.isfinite(value) else value
