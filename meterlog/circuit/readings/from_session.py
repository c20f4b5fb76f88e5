"""Measurements out of recorded sessions: the channel's point says where, the markers say in which state."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from meterlog.circuit.model.circuit import Circuit
from meterlog.circuit.model.dangerous_names import danger
from meterlog.circuit.model.part import BATTERY_MINUS
from meterlog.circuit.readings.impossible_values import impossible
from meterlog.circuit.readings.measurement import Measurement
from meterlog.circuit.readings.session_levels import (
    CHARGING_V,
    crank_levels,
    drop,
    level_of,
    lost_when_moved,
    lost_while_running,
    low_between,
    ohm_levels,
)
from meterlog.circuit.readings.session_states import Window, primes, tells_of_moving, windows
from meterlog.circuit.readings.typed_answers import typed_id, typed_place
from meterlog.events.detect import detect
from meterlog.reading import Quantity
from meterlog.session.reader import open_reader
from meterlog.signal.doubtful import believed

if TYPE_CHECKING:
    from meterlog.session import Channel, SessionReader

Place = dict[str, str]
"""Where a channel was read: `at`, `to`, and perhaps `state` and `load`."""

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
            side, out = place.get("side", ""), place.get("unplugged", "")
            found.append(
                Measurement(
                    quantity, at, place["to"], state, load, value, error, side=side, unplugged=out, at_coil=coil
                )
            )
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
        yield from ohm_levels(reader, channel, series)
        return
    if state:
        level = level_of(series, channel)
        if level:
            yield (state, *level)
        return
    if quantity == "voltage" and not across:
        yield from lost_while_running(reader, channel, series, circuit)
    markers = reader.markers
    events = detect(channel, series, markers) if any(map(tells_of_moving, markers)) else []
    for name, start_s, end_s in known:
        window = series.between(start_s, end_s)
        if across and name in circuit.active:
            level = drop(window, channel, circuit.system_v)
            if level:
                yield (name, *level)
            continue
        if name == "crank" and quantity == "voltage":
            yield from crank_levels(window, channel, CHARGING_V * circuit.volts_scale)
            continue
        level = level_of(window, channel)
        if level:
            yield (name, *level)
            moved = list(lost_when_moved(events, (name, start_s, end_s), markers, level))
            low = low_between(window, level[0])
            if moved:
                yield from ((name, *one) for one in moved)
            elif low is not None:
                yield (name, low, level[1])


def _spans_switched(circuit: Circuit, at: str, to: str) -> bool:
    """Tell whether a commanded part lies between two points: such a pair reads the source while that part is open."""
    if at in circuit.commands or to in circuit.commands:
        return False
    one, other = circuit.ends(at, to)
    apart = {0, *circuit.loads}
    closed, opened = circuit.joined(apart), circuit.joined({*apart, *circuit.commands.values()})
    return closed[one] == closed[other] and opened[one] != opened[other]
