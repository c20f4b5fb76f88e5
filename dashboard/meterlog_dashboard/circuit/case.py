"""A case on the circuit view: which circuit, what was measured on it, and what that says."""

from __future__ import annotations

import math
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from meterlog.circuit import Circuit, load_circuit, template_names
from meterlog.circuit.diagnosis import Diagnoser, Diagnosis
from meterlog.circuit.readings.from_file import load_measured, measured_from_table, refuse_too_many
from meterlog.circuit.readings.from_meter import QUANTITIES
from meterlog.circuit.readings.from_session import measurements_from_session
from meterlog.circuit.readings.halves import unsaid
from meterlog.circuit.readings.measurement import Measurement
from meterlog.circuit.readings.observed import LAMP_AT_PLUG, PART, Question, questions
from meterlog.circuit.readings.trial import Told
from meterlog.circuit.readings.typed_answers import HOW_BRIGHT, typed_lamp, typed_value
from meterlog.errors import CircuitError, MeterlogError, UsageError
from meterlog.session.reader import SessionReader, open_reader
from meterlog.text.ids import plain
from meterlog_dashboard.session_files.folder import SessionFolder
from meterlog_dashboard.session_files.session_list import SessionList

NEWEST_S = 3.0
"""The newest reading of a running session counts as what the meter shows now up to this age, s; a guess."""
_SUGGESTIONS = 5
"""Measurements offered: the best, and others to choose from. A guess."""

Row = dict[str, object]
"""A measurement as the browser keeps it: the keys of a circuit file's `measured`."""


def circuit_names(folder: SessionFolder) -> list[str]:
    """The templates, and the circuit files of the folder (their names end in .toml); no link out of it."""
    own = (path for path in folder.path.glob("*.toml") if path.is_file() and path.resolve().parent == folder.path)
    return [*template_names(), *sorted(path.name for path in own)]


def circuit_source(folder: SessionFolder, name: str) -> str | Path:
    """The template's name or the file to load a circuit from; only names that are offered are known.

    Raises:
        CircuitError: there is no such circuit.
    """
    if name not in circuit_names(folder):
        raise CircuitError(f"there is no circuit '{name}' here")
    return name if name in template_names() else folder.path / name


@dataclass(frozen=True, slots=True)
class Case:
    """A circuit with what is known about it.

    Attributes:
        circuit: the chain of parts.
        measured: from the circuit file, the sessions and the person, in this order.
        own: how many of them, the last ones, the person added.
        tried: direct feeds and replaced parts, from the circuit file and the person.
        own_tried: how many of them, the last ones, the person added.
        left_out: sentences about channels of the sessions that could not be used.
        diagnoser: what weighs it.
        diagnosis: what it all says.
    """

    circuit: Circuit
    measured: tuple[Measurement, ...]
    own: int
    tried: tuple[Told, ...]
    own_tried: int
    left_out: tuple[str, ...]
    diagnoser: Diagnoser
    diagnosis: Diagnosis


def weigh(folder: SessionFolder, name: str, sessions: Sequence[str], rows: Sequence[Row], dead: bool) -> Case:
    """The case of a circuit.

    Args:
        folder: where sessions and circuit files are.
        name: of the circuit, out of `circuit_names`.
        sessions: names of sessions that were recorded on it.
        rows: what the person added: `measured` rows, `tried` rows (those with a `result`), and what was `observed`,
            with its `answer`.
        dead: the load does not work at all in the vehicle.

    Raises:
        MeterlogError: a circuit, a session or a row cannot be used.
    """
    source = circuit_source(folder, name)
    circuit = load_circuit(source)
    measured, tried = load_measured(source, circuit)
    left_out: list[str] = []
    for session in sessions:
        with open_reader(folder.file(session)) as reader:
            more, not_used = measurements_from_session(reader, circuit)
        measured += more
        left_out += [sentence.replace(f"{reader.path}: ", "") for sentence in not_used]
    own: list[Measurement] = []
    own_tried: list[Told] = []
    for row in rows:
        more, more_tried = measured_from_table(_table(row), circuit, "entered")
        own, own_tried = own + more, own_tried + more_tried
    every, every_tried = (*measured, *own), (*tried, *own_tried)
    refuse_too_many(every, circuit)
    left_out += unsaid(circuit, every)
    diagnoser = _diagnoser(circuit, dead)
    diagnosis = diagnoser.diagnose(every, every_tried, suggestions=_SUGGESTIONS)
    return Case(circuit, every, len(own), every_tried, len(own_tried), tuple(left_out), diagnoser, diagnosis)


def _table(row: Row) -> Row:
    """A circuit file's table with one entry."""
    if "observed" in row:
        return {"observed": {str(row["observed"]): row.get("answer")}}
    return {"tried" if "result" in row else "measured": [row]}


_diagnosers: dict[str, tuple[Circuit, Diagnoser]] = {}


def _diagnoser(circuit: Circuit, dead: bool) -> Diagnoser:
    """Kept while the circuit is the same, since it works out everything that does not depend on the readings."""
    key = f"{circuit.name} {dead}"
    kept = _diagnosers.get(key)
    if kept is None or kept[0] != circuit:
        kept = _diagnosers[key] = circuit, Diagnoser(circuit, complaint="dead" if dead else "")
    return kept[1]


def entered_row(form: Mapping[str, object], text: str) -> Row:
    """Make a row of what a person typed into the form; the value is a number, 'open' on ohms, or how bright a lamp is.

    Raises:
        UsageError: it is none of them, or in another unit.
    """
    if form.get("quantity") == "lamp":
        lamp = typed_lamp(text)
        if lamp is None or lamp[1]:
            raise UsageError(HOW_BRIGHT)
        return {**form, **lamp[0]}
    value = typed_value(text, str(form.get("quantity", "voltage")))
    return {**form, "value": "open" if math.isinf(value) else value}


def observable() -> dict[str, Question]:
    """Return what can be observed without an instrument; a lamp is entered as a reading."""
    return {key: one for key, one in questions().items() if key != LAMP_AT_PLUG}


def answers_to(folder: SessionFolder, name: str, key: str) -> list[str]:
    """The answers to what was observed on a circuit; its parts are among them where one is to be named.

    Raises:
        CircuitError: there is no such circuit.
    """
    known = observable()[key].answers if key in observable() else {}
    parts = load_circuit(circuit_source(folder, name)).part_index if PART in known else {}
    return [*(word for word in known if word != PART), *parts]


def without(rows: Sequence[Row], kind: str, place: int) -> list[Row]:
    """The rows without one: the one at `place` among the `measured` or the other ones, from 0."""
    of_kind = [k for k, row in enumerate(rows) if ("quantity" not in row) == (kind == "tried")]
    return [row for k, row in enumerate(rows) if not (place < len(of_kind) and k == of_kind[place])]


def check_row(folder: SessionFolder, name: str, row: Row) -> None:
    """Refuse a row that the circuit cannot take.

    Raises:
        CircuitError: naming the key.
    """
    circuit = load_circuit(circuit_source(folder, name))
    measured_from_table(_table(row), circuit, "entered")


@dataclass(frozen=True, slots=True)
class Live:
    """A reading that a meter shows now.

    Attributes:
        value: inf for overload.
        unit: of the value.
        label: of its channel.
        session: the running session's file name.
    """

    value: float
    unit: str
    label: str
    session: str

    @property
    def text(self) -> str:
        """As it would be typed."""
        return "open" if math.isinf(self.value) else f"{self.value:.6g}"


def live_reading(listed: SessionList, quantity: str, at: str = "") -> Live:
    """The newest reading of the right quantity in a session that is being recorded now.

    Args:
        listed: the sessions.
        quantity: `voltage`, `voltage_drop`, `current` or `resistance`.
        at: the point that is asked for; a channel with this name comes first.

    Raises:
        UsageError: nothing is being recorded, or no fresh reading of that quantity is there.
    """
    if quantity not in QUANTITIES:
        raise UsageError("no meter shows how bright a lamp is: type it")
    running = [summary for summary in listed.all() if summary.ended == "growing"]
    if not running:
        raise UsageError("no meter is being recorded now: start one on Record, or type the reading")
    found: list[tuple[bool, Live]] = []
    for summary in running:
        try:
            with open_reader(summary.path) as reader:
                found += _newest(reader, quantity, at)
        except MeterlogError:
            continue
    if not found:
        name = plain(quantity)
        raise UsageError(f"no running meter has shown a {name} in the last {NEWEST_S:g} s: turn its dial, or type it")
    return max(found, key=lambda one: one[0])[1]


def _newest(reader: SessionReader, quantity: str, at: str) -> list[tuple[bool, Live]]:
    now_s = time.monotonic() - reader.monotonic_start_s
    found = []
    for channel in reader.channels:
        if channel.quantity not in QUANTITIES[quantity]:
            continue
        series = reader.series(channel.number, now_s - NEWEST_S)
        if len(series):
            named = at in (channel.point, channel.label)
            live = Live(float(series.value[-1]), channel.quantity.unit, channel.label, reader.path.name)
            found.append((named, live))
    return found
