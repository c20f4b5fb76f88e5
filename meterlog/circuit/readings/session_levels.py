"""The levels that a recorded channel shows: while on, across a closed contact, cranking, lost on the road, on ohms."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from itertools import islice
from typing import TYPE_CHECKING

import numpy as np

from meterlog.circuit.model.circuit import Circuit
from meterlog.circuit.readings.session_states import SOURCE_SHARE, Window, moved_before
from meterlog.events.detect import detect
from meterlog.events.event import Event
from meterlog.kinds import KINDS
from meterlog.reading import Flag
from meterlog.series import Series
from meterlog.signal.levels import second_highest

if TYPE_CHECKING:
    from meterlog.session import Channel, SessionReader
    from meterlog.session.model import Marker

TURNING_S = 1.5
"""An engine that starts seldom needs the starter longer; later readings may be of the running engine. A guess."""
CHARGING_V = 13.0
"""From this on a 12 V system is charging: warm ones hold 13.2 V (makers' manuals), no battery rests so high."""
SMALLEST_ON_V = 0.05
"""Below it a level cannot be told from what an idle meter shows. A guess."""
FEWEST = 3
"""Readings that make a level. A guess."""
ON_SHARE = 0.5
"""A reading belongs to the 'on' level above this share of the highest: a prime is shorter than its window."""
LEAST_DROPOUT_V, DROPOUT_READINGS = 1.0, 2
"""A dropout is looked for in levels from this on, V or A, and lasts so many readings. Guesses."""
MOST_LOST = 3
"""So many losses of a session are told one by one: more say nothing new, and readings are limited. A guess."""
MAD_TO_DEVIATION = 1.5
"""The median absolute deviation of a normal distribution times this is its standard deviation (1.48, rounded up)."""
LEAST_DEVIATION = 0.01
"""Added to a level's error, in its unit: what a display's last digit hides. A guess."""


def ohm_levels(reader: SessionReader, channel: Channel, series: Series) -> Iterator[tuple[str, float, float]]:
    """The level on ohms, and what it changed to when it opened or stepped: a contact that comes and goes."""
    level = level_of(series, channel, ohms=True)
    if level is None:
        return
    yield ("isolated", *level)
    events = detect(channel, series, reader.markers)
    opened = [event for event in events if event.kind == "open_circuit"] if math.isfinite(level[0]) else []
    for k in range(len(opened[:MOST_LOST])):
        yield ("isolated", math.inf, 0.0)
        if k:
            yield ("isolated", *level)
    stepped = (event.reference for event in events if event.kind == "resistance_step")
    for before in stepped:
        if before is not None and math.isfinite(before):
            yield ("isolated", before, channel.accuracy.error(before, float(series.resolution[0])))
            return


def lost_while_running(
    reader: SessionReader, channel: Channel, series: Series, circuit: Circuit
) -> Iterator[tuple[str, float, float]]:
    """The level with the engine running and the lowest of what was lost meanwhile: no battery rests so high."""
    events = (event for event in detect(channel, series, reader.markers) if KINDS[event.kind].comes_back)
    for event in islice(events, MOST_LOST):
        level, low = event.reference, event.extreme
        if level is not None and low is not None and level >= CHARGING_V * circuit.volts_scale:
            error = channel.accuracy.error(level, float(series.resolution[0])) + LEAST_DEVIATION
            yield ("run", level, error)
            yield ("run", *between_nothing_and(low))


def lost_when_moved(
    events: Iterable[Event], window: Window, markers: Sequence[Marker], level: tuple[float, float]
) -> Iterator[tuple[float, float]]:
    """Yield what was lost in a window when the harness was moved, however short, each after the level itself."""
    _, start_s, end_s = window
    lost = (
        e
        for e in events
        if KINDS[e.kind].comes_back and start_s <= e.start_s < end_s and moved_before(e.start_s, markers)
    )
    for k, event in enumerate(islice(lost, MOST_LOST)):
        if k:
            yield level
        if event.extreme is not None:
            yield between_nothing_and(event.extreme)


def between_nothing_and(low: float) -> tuple[float, float]:
    """A lowest reading as a level: a short loss is averaged with what is around it, so it was that or less."""
    return low / 2, abs(low) / 2 + LEAST_DEVIATION


def drop(window: Series, channel: Channel, system_v: float) -> tuple[float, float] | None:
    """The drop while the commanded part is closed: the lower level, where the source's voltage stands before or after
    it. Only the source's voltage: it was never closed, or something is open."""
    if not len(window):
        return None
    closed = np.abs(window.value) < SOURCE_SHARE * system_v
    # the edges may be readings that averaged both: they are neither
    inside = closed & np.append(closed[1:], True) & np.append(True, closed[:-1])
    if inside.sum() < FEWEST:
        return level_of(window, channel)
    return level_of(window[inside], channel)


def crank_levels(window: Series, channel: Channel, charging_v: float) -> Iterator[tuple[str, float, float]]:
    """The level while the starter turns: the first moments that are on. What follows at a charging level was taken
    with the engine running; what follows below one may be either, and is left out."""
    finite = np.abs(window.value[np.isfinite(window.value)])
    high = second_highest(finite) if len(finite) >= FEWEST else 0.0
    if high <= LEAST_DROPOUT_V:
        level = level_of(window, channel)
        if level:
            yield ("crank", *level)
        return
    first_on = int(np.flatnonzero(np.abs(window.value) > ON_SHARE * high)[0])
    end_s = float(window.time_s[first_on]) + TURNING_S
    early = level_of(window.between(float(window.time_s[first_on]), end_s), channel)
    late = level_of(window.between(end_s, math.inf), channel)
    if early and early[0] < charging_v:
        yield ("crank", *early)
    if late and late[0] >= charging_v:
        yield ("run", *late)


def level_of(series: Series, channel: Channel, *, ohms: bool = False) -> tuple[float, float] | None:
    """The level that holds while the circuit is on: the median of what exceeds half of the highest (a prime is shorter
    than its window), with the meter's error and the spread. Ohms: open if most readings are."""
    good = (series.flags & int(Flag.HOLD)) == 0
    value, resolution = series.value[good], series.resolution[good]
    if len(value) < FEWEST:
        return None
    finite = np.isfinite(value)
    if ohms and finite.sum() <= len(value) / 2:
        return math.inf, 0.0
    value, resolution = value[finite], resolution[finite]
    if len(value) < FEWEST:
        return None
    high = second_highest(np.abs(value))  # the highest alone may be a transient
    if not ohms and high > SMALLEST_ON_V:
        on = np.abs(value) > ON_SHARE * high
        value, resolution = value[on], resolution[on]
    middle = float(np.median(value))
    spread = float(np.median(np.abs(value - middle))) * MAD_TO_DEVIATION
    return middle, 2 * math.hypot(spread, channel.accuracy.error(middle, float(resolution[0])) / 2, LEAST_DEVIATION)


def low_between(window: Series, level: float) -> float | None:
    """The value of a dropout inside an 'on' level: below half of it, two readings at least, and back up; else None."""
    if abs(level) < LEAST_DROPOUT_V:
        return None
    on = np.flatnonzero(np.abs(window.value) > ON_SHARE * abs(level))
    inside = window.value[on[0] : on[-1] + 1]
    low = inside[np.abs(inside) <= ON_SHARE * abs(level)]
    return float(np.median(low)) if len(low) >= DROPOUT_READINGS else None
