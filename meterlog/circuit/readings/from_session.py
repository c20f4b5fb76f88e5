"""Measurements out of recorded sessions: the channel's point says where, the markers say in which state."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from meterlog.circuit.model.circuit import Circuit
from meterlog.circuit.model.dangerous_names import danger
from meterlog.circuit.model.part import BATTERY_MINUS
from meterlog.circuit.readings.impossible_values import impossible
from meterlog.circuit.readings.measurement import Measurement
from meterlog.circuit.readings.session_states import SOURCE_SHARE, Window, primes, windows
from meterlog.circuit.readings.typed_answers import typed_id, typed_place
from meterlog.events.detect import detect
from meterlog.reading import Flag, Quantity
from meterlog.series import Series
from meterlog.session.reader import open_reader
from meterlog.signal.doubtful import believed

if TYPE_CHECKING:
    from meterlog.session import Channel, SessionReader

Place = dict[str, str]
"""Where a channel was read: `at`, `to`, and perhaps `state` and `load`."""

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

_QUANTITY = {
    Quantity.DC_VOLTAGE: "voltage",
    Quantity.DC_CURRENT: "current",
    Quantity.RESISTANCE: "resistance",
    Quantity.CONTINUITY: "resistance",
}


def measurements_from_sessions(paths: Iterable[Path | str], circuit: Circuit) -> tuple[list[Measurement], list[str]]:
    """Take the measurements on a circuit out of sessions; see `measurements_from_session`.

    Returns:
        The measurements; and a sentence for every channel that could not be used, and for what is wrong with a file.

    Raises:
        SessionError: one cannot be read.
    """
    measured: list[Measurement] = []
    left_out: list[str] = []
    for path in paths:
        with open_reader(path) as reader:
            more, not_used = measurements_from_session(reader, circuit)
            left_out += [*not_used, *reader.notes]
        measured += more
    return measured, left_out


def measurements_from_session(reader: SessionReader, circuit: Circuit) -> tuple[list[Measurement], list[str]]:
    """Take the measurements on a circuit out of a session.

    A channel's point (or label) is a point or part of the circuit, or two as `plug_feed to plug_ground`, with what
    else matters after a comma: `plug_feed, unplugged`, `battery_plus, run`. Without a marker or such a word, volts and
    amperes have no state and are left out; ohms are taken as isolated. A session whose detail `repaired` is set
    (`record --set repaired=relay`) is left out: its circuit is another one.

    Returns:
        The measurements, and a sentence for every channel that could not be used.
    """
    repaired = reader.details.get("repaired", "").strip()
    if repaired:
        return [], [
            f"{reader.path}: left out: recorded after the repair ({repaired}), so it says nothing about the fault"
        ]
    found: list[Measurement] = []
    left_out: list[str] = []
    placed = {channel.number: _channel_place(channel, circuit) for channel in reader.channels}
    known = _windows(reader, placed, circuit)
    for channel in reader.channels:
        name = channel.label or channel.point or f"channel {channel.number}"
        quantity = _QUANTITY.get(channel.quantity)
        place = placed[channel.number]
        if quantity is None or place is None:
            unknown = _unplaced(channel, circuit)
            left_out.append(
                f"{reader.path}: {name} left out: {unknown if quantity else 'diagnosis does not use its quantity'}"
            )
            continue
        levels = list(_levels(reader, channel, quantity, place, circuit, known))
        if not levels:
            left_out.append(
                f"{reader.path}: {name} left out: no marker and no prime gives the state it was read in, or its level"
                " is not steady"
            )
        for state, value, error in levels:
            if reason := impossible(quantity, value, circuit):
                left_out.append(f"{reader.path}: {name} left out: {reason}")
                continue
            at, load = place["at"], place.get("load", "connected")
            coil = at in circuit.commands
            side = place.get("side", "")
            found.append(Measurement(quantity, at, place["to"], state, load, value, error, side=side, at_coil=coil))
    return found, left_out


def _windows(reader: SessionReader, placed: Mapping[int, Place | None], circuit: Circuit) -> list[Window]:
    """The states of a session's stretches; primes count where the circuit has them."""
    channels = (
        (channel, believed(reader.series(channel.number)), _reads_source(channel, place, circuit))
        for channel in reader.channels
        if (place := placed[channel.number]) is not None
    )
    found = primes(channels, reader.markers, circuit.system_v) if "prime" in circuit.active else []
    return windows(reader.markers, found, reader.duration_s)


def _reads_source(channel: Channel, place: Place, circuit: Circuit) -> bool:
    """Tell whether a channel reads the source while a contact between its points is open."""
    voltage = _QUANTITY.get(channel.quantity) == "voltage"
    return voltage and _spans_switched(circuit, place["at"], place["to"])


def _channel_place(channel: Channel, circuit: Circuit) -> Place | None:
    """Find where a channel was read: by its test point, or by a label that is a point (a part's name alone says too
    little:
    it may be called after the fuse that it is behind)."""
    quantity = _QUANTITY.get(channel.quantity)
    if quantity is None:
        return None
    by_point = _place(channel.point, quantity, circuit)
    if by_point or channel.point:
        return by_point
    by_label = _place(channel.label, quantity, circuit)
    lone_part = by_label is not None and by_label["at"] == by_label["to"] != circuit.parts[circuit.load].id
    return None if lone_part and quantity == "voltage" else by_label


def _unplaced(channel: Channel, circuit: Circuit) -> str:
    where = channel.point or channel.label
    if not channel.point and typed_id(where, circuit.ids()) in circuit.part_index:
        number = channel.number
        return (
            f"'{where}' is a part: say with 'meterlog details SESSION --point {number}=...' whether it was read across"
            " it (the part) or behind it (a point)"
        )
    return danger(where) or f"'{where}' is not a point of the circuit"


def _place(text: str, quantity: str, circuit: Circuit) -> Place | None:
    """Find where a channel was read, as `typed_place` says, with the other probe's place where it is not named."""
    found = typed_place(text, circuit)
    if found is None:
        return None
    at = found["at"]
    # a part means across it; the battery's own volts are those of its posts
    across = quantity != "current" and at in circuit.part_index and (quantity, at) != ("voltage", circuit.parts[0].id)
    return {"to": at if across else BATTERY_MINUS, **found}


def _levels(
    reader: SessionReader, channel: Channel, quantity: str, place: Place, circuit: Circuit, known: Sequence[Window]
) -> Iterator[tuple[str, float, float]]:
    """State, value and error of every level that a channel shows."""
    series = believed(reader.series(channel.number))
    state = place.get("state", "")
    across = _reads_source(channel, place, circuit)
    if quantity == "resistance":
        yield from _ohms(reader, channel, series)
        return
    if state:
        level = _level(series, channel)
        if level:
            yield (state, *level)
        return
    if quantity == "voltage" and not across:
        yield from _lost_while_running(reader, channel, series, circuit)
    for name, start_s, end_s in known:
        window = series.between(start_s, end_s)
        if across and name in circuit.active:
            level = _drop(window, channel, circuit.system_v)
            if level:
                yield (name, *level)
            continue
        if name == "crank" and quantity == "voltage":
            yield from _crank(window, channel, CHARGING_V * circuit.volts_scale)
            continue
        level = _level(window, channel)
        if level:
            yield (name, *level)
            low = _low_between(window, level[0])
            if low is not None:
                yield (name, low, level[1])


def _ohms(reader: SessionReader, channel: Channel, series: Series) -> Iterator[tuple[str, float, float]]:
    """The level on ohms, and what it changed to when it opened or stepped: a contact that comes and goes."""
    level = _level(series, channel, ohms=True)
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


def _lost_while_running(
    reader: SessionReader, channel: Channel, series: Series, circuit: Circuit
) -> Iterator[tuple[str, float, float]]:
    """The level with the engine running and the lowest of what was lost meanwhile: no battery rests so high."""
    events = (event for event in detect(channel, series, reader.markers) if event.kind in ("dropout", "chatter"))
    for event in islice(events, MOST_LOST):
        level, low = event.reference, event.extreme
        if level is not None and low is not None and level >= CHARGING_V * circuit.volts_scale:
            error = channel.accuracy.error(level, float(series.resolution[0])) + LEAST_DEVIATION
            yield ("run", level, error)
            # a short one is averaged with what is around it: it was between nothing and what is shown
            yield ("run", low / 2, abs(low) / 2 + LEAST_DEVIATION)


def _spans_switched(circuit: Circuit, at: str, to: str) -> bool:
    """Tell whether a commanded part lies between two points: such a pair reads the source while that part is open."""
    if at in circuit.commands or to in circuit.commands:
        return False
    one, other = circuit.ends(at, to)
    apart = {0, *circuit.loads}
    closed, opened = circuit.joined(apart), circuit.joined({*apart, *circuit.commands.values()})
    return closed[one] == closed[other] and opened[one] != opened[other]


def _drop(window: Series, channel: Channel, system_v: float) -> tuple[float, float] | None:
    """The drop while the commanded part is closed: the lower level, where the source's voltage stands before or after
    it. Only the source's voltage: it was never closed, or something is open."""
    if not len(window):
        return None
    closed = np.abs(window.value) < SOURCE_SHARE * system_v
    # the edges may be readings that averaged both: they are neither
    inside = closed & np.append(closed[1:], True) & np.append(True, closed[:-1])
    if inside.sum() < FEWEST:
        return _level(window, channel)
    return _level(window[inside], channel)


def _crank(window: Series, channel: Channel, charging_v: float) -> Iterator[tuple[str, float, float]]:
    """The level while the starter turns: the first moments that are on. What follows at a charging level was taken
    with the engine running; what follows below one may be either, and is left out."""
    finite = np.sort(np.abs(window.value[np.isfinite(window.value)]))
    if len(finite) < FEWEST or finite[-2] <= LEAST_DROPOUT_V:
        level = _level(window, channel)
        if level:
            yield ("crank", *level)
        return
    first_on = int(np.flatnonzero(np.abs(window.value) > ON_SHARE * finite[-2])[0])
    end_s = float(window.time_s[first_on]) + TURNING_S
    early = _level(window.between(float(window.time_s[first_on]), end_s), channel)
    late = _level(window.between(end_s, math.inf), channel)
    if early and early[0] < charging_v:
        yield ("crank", *early)
    if late and late[0] >= charging_v:
        yield ("run", *late)


def _level(series: Series, channel: Channel, *, ohms: bool = False) -> tuple[float, float] | None:
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
    high = float(np.sort(np.abs(value))[-2])  # the highest alone may be a transient
    if not ohms and high > SMALLEST_ON_V:
        on = np.abs(value) > ON_SHARE * high
        value, resolution = value[on], resolution[on]
    middle = float(np.median(value))
    spread = float(np.median(np.abs(value - middle))) * MAD_TO_DEVIATION
    return middle, 2 * math.hypot(spread, channel.accuracy.error(middle, float(resolution[0])) / 2, LEAST_DEVIATION)


def _low_between(window: Series, level: float) -> float | None:
    """The value of a dropout inside an 'on' level: below half of it, two readings at least, and back up; else None."""
    if abs(level) < LEAST_DROPOUT_V:
        return None
    on = np.flatnonzero(np.abs(window.value) > ON_SHARE * abs(level))
    inside = window.value[on[0] : on[-1] + 1]
    low = inside[np.abs(inside) <= ON_SHARE * abs(level)]
    return float(np.median(low)) if len(low) >= DROPOUT_READINGS else None
