"""What a job knows of its circuit: the circuit, the readings and the trials that its steps entered."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from meterlog.circuit.diagnosis import Diagnoser
from meterlog.circuit.model.circuit import Circuit
from meterlog.circuit.model.circuit_file import load_circuit
from meterlog.circuit.readings.measurement import Measurement, Tried, measurement_from_row, trial_from_row
from meterlog.job.job import Job, Step

_OF_THE_STEP = ("session", "time_s", "how")
"""Keys of a measured step that say where a reading came from."""


@dataclass(frozen=True)
class JobCase:
    """A job's circuit and what is known of it.

    Attributes:
        circuit: as its file says.
        diagnoser: of that circuit.
    """

    circuit: Circuit
    diagnoser: Diagnoser

    def measured(self, steps: Iterable[Step]) -> list[Measurement]:
        """The readings of some steps.

        Raises:
            CircuitError: one names a place that the circuit does not have.
        """
        return [self.measurement(step.values) for step in steps if step.kind == "measured"]

    def measurement(self, values: Mapping[str, object]) -> Measurement:
        """One reading from its step.

        Raises:
            CircuitError: it names a place that the circuit does not have.
        """
        row = {key: value for key, value in values.items() if key not in _OF_THE_STEP}
        return measurement_from_row(row, self.circuit, "job.toml: a measured step:")

    def tried(self, steps: Iterable[Step], *, failed: Iterable[str] = ()) -> list[Tried]:
        """The trials of some steps, and the repairs that changed nothing.

        Raises:
            CircuitError: one names a part that the circuit does not have.
        """
        rows = [dict(step.values) for step in steps if step.kind == "tried"]
        rows += [{"replaced": part, "result": "dead"} for part in failed]
        return [trial_from_row(row, self.circuit, "job.toml: a tried step:") for row in rows]


def case_of(job: Job) -> JobCase | None:
    """The circuit of a job; None while none is chosen.

    Raises:
        CircuitError: its file is gone or wrong.
    """
    if not job.circuit:
        return None
    circuit = load_circuit(job.folder / job.circuit)
    return JobCase(circuit, Diagnoser(circuit))
