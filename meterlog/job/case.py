"""Holds what a job knows of its circuit: the circuit, the readings and the trials that its steps entered."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from meterlog.circuit.complaints.complaint_file import find_complaint
from meterlog.circuit.cost import entered_money
from meterlog.circuit.diagnosis import NOW_AND_THEN, Diagnoser
from meterlog.circuit.model.circuit import Circuit
from meterlog.circuit.model.circuit_file import load_circuit
from meterlog.circuit.next_measurement.candidates import Tool
from meterlog.circuit.readings.from_file import measured_from_table
from meterlog.circuit.readings.from_rows import measurement_from_row
from meterlog.circuit.readings.measurement import Measurement
from meterlog.circuit.readings.observed import questions
from meterlog.circuit.readings.trial import Told
from meterlog.job.job import Job, Step
from meterlog.settings import read_settings

_OF_THE_STEP = ("session", "time_s", "how")
"""Keys of a measured step that say where a reading came from."""


@dataclass(frozen=True)
class JobCase:
    """A job's circuit and what is known of it.

    Attributes:
        circuit: as its file says.
        diagnoser: of that circuit.
        comes_and_goes: what the driver complains of is sound between two failures.
    """

    circuit: Circuit
    diagnoser: Diagnoser
    comes_and_goes: bool = False

    def measured(self, steps: Iterable[Step]) -> list[Measurement]:
        """The readings of some steps.

        Raises:
            CircuitError: one names a place that the circuit does not have.
        """
        return [self.measurement(step.values, step.line) for step in steps if step.kind == "measured"]

    def measurement(self, values: Mapping[str, object], line: int = 0) -> Measurement:
        """One reading from its step, which stands in that line of the file.

        Raises:
            CircuitError: it names a place that the circuit does not have.
        """
        row = {key: value for key, value in values.items() if key not in _OF_THE_STEP}
        return measurement_from_row(row, self.circuit, f"job.toml{f', line {line}' if line else ''}: a measured step:")

    def told(self, steps: Iterable[Step], *, failed: Iterable[str] = ()) -> tuple[list[Measurement], list[Told]]:
        """All that some steps tell: readings, trials, what was observed, and the repairs that changed nothing.

        Raises:
            CircuitError: one names a place, part or answer that does not exist.
        """
        steps = list(steps)
        tried = [dict(step.values) for step in steps if step.kind == "tried"]
        tried += [{"replaced": part, "result": "dead"} for part in failed]
        looks = {str(step.values["key"]): step.values["answer"] for step in steps if step.kind == "look"}
        observed = {key: answer for key, answer in looks.items() if key in questions()}
        more, told = measured_from_table({"tried": tried, "observed": observed}, self.circuit, "job.toml")
        return [*self.measured(steps), *more], told


def case_of(job: Job) -> JobCase | None:
    """The circuit of a job; None while none is chosen.

    Raises:
        CircuitError: its file is gone or wrong.
    """
    if not job.circuit:
        return None
    circuit, usual = load_circuit(job.folder / job.circuit), read_settings()
    money = entered_money(job.details, usual.hourly_rate, usual.currency)
    tool: Tool = "lamp" if job.tool == "lamp" else "meter"
    complaint = find_complaint(job.complaint)
    engine_runs = complaint is None or complaint.engine_runs
    loose = complaint is not None and complaint.comes_and_goes
    said = NOW_AND_THEN if loose else ""
    diagnoser = Diagnoser(circuit, job.rates, complaint=said, tool=tool, money=money, engine_runs=engine_runs)
    return JobCase(circuit, diagnoser, loose)
