"""The table of measures: level, duration, droop, lowest, transition, resistance, events seen and events per hour."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from meterlog.comparing.align import Laid, Pass
from meterlog.comparing.combine import Figure, combined, measured
from meterlog.comparing.comparison import Measure
from meterlog.comparing.counts import counts
from meterlog.comparing.pairing import Side
from meterlog.events.missing_prime import KEY_ON
from meterlog.findings.level import level_of, resolution_of, thin, upper_level
from meterlog.limits import Limits
from meterlog.reading import Quantity
from meterlog.series import Series
from meterlog.session.model import Channel
from meterlog.sides import Sides
from meterlog.signal.interval import reading_interval
from meterlog.signal.levels import high_level_span

_CLEARLY_FASTER = 1.5
"""A meter with an interval shorter by this factor sees deeper sags. A guess."""
_TOP_READINGS = 4
"""So many readings of a pulse's top, its edges left out, tell its droop: two in each half. A guess."""
_EDGE_READINGS = 2
"""The outer readings of a pulse, which may be partial: one at each end."""
_IN_A_ROW = 2
"""Readings in a row that a level must hold for, so that it would show whenever they were taken: by simulation."""
_TRANSITION = (0.1, 0.9)
"""Of the level, where a rise begins and ends (IEEE 181)."""


def measures(good: Sequence[Side], suspect: Side, laid: Laid, limits: Limits, sides: Sides) -> list[Measure]:
    """Every row for one channel."""
    rows = _whole(good, suspect, limits, sides)
    if laid.parts and laid.suspect[0].event is not None:
        rows += _passes(good, suspect, laid, limits, sides)
    elif any(capture.events_of(channel, "prime_pulse") for capture, channel in (*good, suspect)):
        rows += _primes_of_one_side(good, suspect, sides)
    return rows + counts(good, suspect, limits, sides)


def _passes(good: Sequence[Side], suspect: Side, laid: Laid, limits: Limits, sides: Sides) -> list[Measure]:
    """The measures of each prime or crank, pass by pass."""
    rows: list[Measure | None] = []
    unit = suspect[1].quantity.unit
    word = "prime" if laid.method.startswith("prime") else "crank"
    for number, shared in enumerate(laid.parts):
        part = shared if len(laid.parts) > 1 else None
        own = pass_figures(suspect, laid.suspect[number])
        others = [pass_figures(side, of_one[number]) for side, of_one in zip(good, laid.good, strict=True)]
        level = max([abs(f["level"].value) for f in (own, *others) if "level" in f], default=0.0)
        tolerance = {
            "level": limits.value("same_level_share") * level,
            "lowest": limits.value("same_level_share") * level,
            "droop": limits.value("same_level_share") * level,
        }
        for name in ("level", "lowest", "droop", "duration", "transition"):
            found = [f[name] for f in others if name in f]
            longest = max([f.value for f in [*found, *([own[name]] if name in own else [])]], default=0.0)
            allowed = tolerance.get(name, limits.value("same_time_share") * longest)
            of_time = name in ("duration", "transition")
            rows.append(
                measured(f"{word} {name}", part, "s" if of_time else unit, found, own.get(name), allowed, sides)
            )
    return [_depth_told(row, good, suspect) for row in rows if row is not None]


def _depth_told(row: Measure, good: Sequence[Side], suspect: Side) -> Measure:
    """A lower lowest reading of a clearly faster meter proves no difference: the slower one averages it away."""
    if not row.measure.endswith("lowest") or row.verdict != "different" or row.difference is None:
        return row
    own = _interval(suspect)
    others = [_interval(side) for side in good]
    faster = own < min(others) / _CLEARLY_FASTER if row.difference < 0 else own > max(others) * _CLEARLY_FASTER
    note = "the faster meter sees deeper: repeat with the same one"
    return replace(row, verdict="cannot tell", note=note) if faster else row


def _interval(side: Side) -> float:
    return reading_interval(side[0].believed(side[1].number).time_s).interval_s


def pass_figures(side: Side, laid: Pass) -> dict[str, Figure]:
    """Return the figures of a prime or crank by their names; none of another pass."""
    capture, channel = side
    event = laid.event
    if event is None:
        return {}
    series = capture.believed(channel.number)
    inside = series.between(event.start_s, event.end_s)
    count = resolution_of(series)
    figures: dict[str, Figure] = {}
    if event.kind == "prime_pulse" and event.level is not None:
        stray = _level_stray(inside, event.level)
        figures["level"] = Figure(event.level, combined(channel.accuracy.error(event.level, count), stray))
        droop = _droop(inside, channel)
        if droop is not None:
            figures["droop"] = droop
        figures["transition"] = _transition(series.between(laid.start_s, event.end_s), event.level)
    if event.extreme is not None:
        stray = _lowest_stray(inside, event.extreme)
        figures["lowest"] = Figure(event.extreme, combined(channel.accuracy.error(event.extreme, count), stray))
    if event.duration_s is not None and event.duration_error_s is not None:
        figures["duration"] = Figure(event.duration_s, event.duration_error_s)
    return figures


def _level_stray(inside: Series, level: float) -> float:
    """By how much the level may differ when the same pulse is read at other moments: see `high_level_span`."""
    top = inside.value[1:-1] if len(inside) > _EDGE_READINGS else inside.value
    low, high = high_level_span(np.append(top, 0.0))  # with an idle reading, as the level itself is found
    return max(level - low, high - level, 0.0)


def _lowest_stray(inside: Series, lowest: float) -> float:
    """By how much the lowest reading may differ when the same is read at other moments.

    A reading averages what went before it, so a short dip may fall wholly into one or be split between two. What two
    readings in a row do not exceed would show, however the moments fell.
    """
    value = inside.value[1:-1] if len(inside) > _EDGE_READINGS else inside.value
    if len(value) < _IN_A_ROW:
        return float(value.max()) - lowest if len(value) else 0.0
    held = np.lib.stride_tricks.sliding_window_view(value, _IN_A_ROW).max(axis=1).min()
    return max(float(held) - lowest, 0.0)


def _droop(inside: Series, channel: Channel) -> Figure | None:
    """Measure how far the top of a pulse falls: the median of its first half less that of its second (IEEE 181: tilt).

    The readings at its edges may be partial and are left out. Both halves are the same meter's: of its accuracy only
    the counts remain.
    """
    top = inside[1:-1]
    if len(top) < _TOP_READINGS:
        return None
    first, second = level_of(top[: len(top) // 2], channel.accuracy), level_of(top[len(top) // 2 :], channel.accuracy)
    if first is None or second is None:
        return None
    own = [channel.accuracy.error(level.value, resolution_of(inside)) for level in (first, second)]
    noise = combined(first.error - own[0], second.error - own[1])
    count = resolution_of(inside)
    return Figure(first.value - second.value, noise + channel.accuracy.counts * (0.0 if np.isnan(count) else count))


def _transition(series: Series, level: float) -> Figure:
    """The rise from 10 to 90 % of the level (IEEE 181), as far as the readings tell; between two it may be 0."""
    above = np.flatnonzero(series.value >= _TRANSITION[1] * level)
    last = int(above[0]) if len(above) else len(series) - 1
    below = np.flatnonzero(series.value[: last + 1] <= _TRANSITION[0] * level)
    first = int(below[-1]) if len(below) else 0
    most_s = float(series.time_s[last] - series.time_s[first])
    interval = reading_interval(series.time_s, series.time_error_s)
    least_s = max(0.0, most_s - 2 * interval.interval_s)
    return Figure((most_s + least_s) / 2, (most_s - least_s) / 2 + 2 * interval.time_error_s)


def _whole(good: Sequence[Side], suspect: Side, limits: Limits, sides: Sides) -> list[Measure]:
    """The level over the whole capture: while on, or of a resistance."""
    resistive = suspect[1].quantity in (Quantity.RESISTANCE, Quantity.CONTINUITY)
    if any(capture.events_of(channel, "prime_pulse") for capture, channel in (*good, suspect)):
        return []
    level: Callable[[Side], Figure | None] = _finite_level if resistive else _on_level
    own = level(suspect)
    others = [figure for figure in map(level, good) if figure is not None]
    largest = max([abs(f.value) for f in (*others, *([own] if own else []))], default=0.0)
    share = limits.value("same_resistance_share" if resistive else "same_level_share")
    name = "resistance" if resistive else "level while on"
    row = measured(name, None, suspect[1].quantity.unit, others, own, share * largest, sides)
    if row is not None and (own is None or not others):
        row = replace(row, verdict="different", note="overload throughout on one side")
    return [] if row is None else [row]


def _finite_level(side: Side) -> Figure | None:
    level = level_of(thin(side[0].believed(side[1].number)), side[1].accuracy)
    return None if level is None else Figure(level.value, level.error)


def _on_level(side: Side) -> Figure | None:
    level = upper_level(side[0].believed(side[1].number), side[1].accuracy)
    return None if level is None else Figure(level.value, level.error)


def _primes_of_one_side(good: Sequence[Side], suspect: Side, sides: Sides) -> list[Measure]:
    """Primes that could not be laid over each other, since a capture has none."""

    def primes(side: Side) -> Figure:
        return Figure(float(len(side[0].events_of(side[1], "prime_pulse"))), 0.0)

    row = measured("primes seen", None, "", [primes(side) for side in good], primes(suspect), 0.0, sides)
    if row is None:
        return []
    without = [
        name
        for name, captures in ((sides.the_other, [suspect]), (sides.the_reference, good))
        if not any(m.name.strip().casefold() == KEY_ON for capture, _ in captures for m in capture.markers)
    ]
    return [replace(row, note=f"no key-on marker in {' nor '.join(without)}: was the key turned?") if without else row]
