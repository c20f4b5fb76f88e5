"""All that a file says was measured, tried and observed on a circuit, and how much of it can be weighed together."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

from meterlog.circuit.complaints.complaint_file import look_keys
from meterlog.circuit.model.circuit import Circuit
from meterlog.circuit.model.circuit_file import check_keys, read_table
from meterlog.circuit.model.table_rows import rows
from meterlog.circuit.readings.from_rows import measurement_from_row, trial_from_row
from meterlog.circuit.readings.measurement import Measurement
from meterlog.circuit.readings.observed import LAMP_AT_PLUG, UNKNOWN, observed_from_table
from meterlog.circuit.readings.trial import Told
from meterlog.errors import CircuitError

MOST_READINGS, MOST_WORK = 60, 800
"""The most readings, and the most readings times parts, that are weighed together. Readings depend on one another under
every pair of faults: memory and time grow faster than readings times parts (20 readings on 40 parts: some 500 MB and,
where they contradict each other, 6 s; measured once by hand)."""


def load_measured(
    path: str | Path, circuit: Circuit, *, templates: bool = True
) -> tuple[list[Measurement], list[Told]]:
    """The `measured`, `tried` and `observed` of a file, or (where `templates` says so) of a template.

    Raises:
        CircuitError: naming the entry and the key.
    """
    table = read_table(path, templates=templates)
    check_keys(table, str(path))
    if not templates and not {"measured", "tried", "observed"} & table.keys():
        raise CircuitError(f"{path}: it has neither 'measured' nor 'tried' nor 'observed'")
    return measured_from_table(table, circuit, str(path))


def measured_from_table(
    table: Mapping[str, object], circuit: Circuit, source: str = "measured"
) -> tuple[list[Measurement], list[Told]]:
    """The readings of a TOML table, and what its `tried` and `observed` say.

    Raises:
        CircuitError: naming the entry and the key.
    """
    measured = [
        measurement_from_row(row, circuit, f"{source}: measured {k}:")
        for k, row in enumerate(rows(table, "measured", source, most_readings(circuit)), 1)
    ]
    tried = [
        trial_from_row(row, circuit, f"{source}: tried {k}:")
        for k, row in enumerate(rows(table, "tried", source, MOST_READINGS), 1)
    ]
    observed = table.get("observed", {})
    if not isinstance(observed, dict):
        raise CircuitError(f"{source}: 'observed' must be a table such as observed = {{relay_clicks = \"no\"}}")
    where = f"{source}: observed:"
    if LAMP_AT_PLUG in observed and observed[LAMP_AT_PLUG] != UNKNOWN:
        measured.append(_lamp_at_plug(observed[LAMP_AT_PLUG], circuit, where))
    return measured, [*tried, *observed_from_table(observed, circuit, where, look_keys())]


def _lamp_at_plug(answer: object, circuit: Circuit, where: str) -> Measurement:
    """Make the reading that a lamp between the two contacts of the load's plug is."""
    faces = circuit.faces
    if faces is None:
        raise CircuitError(f"{where} no points of the circuit are the two contacts of the load's plug")
    row = {"quantity": "lamp", "at": faces[0], "to": faces[1], "load": "unplugged", "value": answer}
    return measurement_from_row(row, circuit, where)


def most_readings(circuit: Circuit) -> int:
    """The most readings that are weighed together on a circuit."""
    return min(MOST_READINGS, MOST_WORK // len(circuit.parts))


def refuse_too_many(measured: Sequence[Measurement], circuit: Circuit) -> None:
    """Refuse more readings than are weighed, out of all files and sessions together.

    Raises:
        CircuitError: there are more.
    """
    if len(measured) > most_readings(circuit):
        raise CircuitError(
            f"{len(measured)} readings are too many: at most {most_readings(circuit)} can be weighed together on"
            f" {len(circuit.parts)} parts, so give fewer files or sessions, or draw the circuit with fewer parts"
        )
