"""A comparison and a diagnosis for a notebook: their verdict, and their figures as frames."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from meterlog.circuit.diagnosis import Diagnoser, Diagnosis
from meterlog.circuit.model.circuit_file import load_circuit
from meterlog.circuit.readings.from_file import measured_from_table
from meterlog.circuit.readings.from_session import measurements_from_sessions
from meterlog.comparing.comparison import Comparison
from meterlog.comparing.comparison_text import headline
from meterlog.notebook.frames import frame_of


@dataclass(frozen=True)
class Compared:
    """A comparison.

    Attributes:
        comparison: in full.
    """

    comparison: Comparison

    def __repr__(self) -> str:
        return headline(self.comparison)

    @property
    def verdict(self) -> str:
        """`different`, `same within error` or `cannot tell`."""
        return self.comparison.verdict

    @property
    def measures(self) -> pd.DataFrame:
        """A row a measure: `channel`, `measure`, `good`, `suspect`, `difference`, `uncertainty`, `verdict` and more."""
        return self._of_channels("measures")

    @property
    def excursions(self) -> pd.DataFrame:
        """A row a stretch in which the suspect leaves the band of the known-good: `channel` and its times and size."""
        return self._of_channels("excursions")

    def _of_channels(self, what: str) -> pd.DataFrame:
        parts = [frame_of(getattr(channel, what)).assign(channel=channel.label) for channel in self.comparison.channels]
        return pd.concat(parts, ignore_index=True) if parts else pd.DataFrame()


@dataclass(frozen=True)
class Diagnosed:
    """A diagnosis.

    Attributes:
        diagnosis: in full.
        left_out: a sentence for each channel of the sessions that could not be used.
    """

    diagnosis: Diagnosis
    left_out: tuple[str, ...] = ()

    def __repr__(self) -> str:
        return self.diagnosis.verdict

    @property
    def verdict(self) -> str:
        """One plain sentence."""
        return self.diagnosis.verdict

    @property
    def chances(self) -> pd.DataFrame:
        """A row a part: `part`, `fault`, `probability`, its `resistance_ohm`, what speaks `for` and `against` it."""
        return pd.DataFrame([hypothesis.as_json() for hypothesis in self.diagnosis.hypotheses])

    @property
    def next(self) -> pd.DataFrame:
        """A row a measurement to take next, the best first."""
        return pd.DataFrame([suggestion.as_json() for suggestion in self.diagnosis.next])


def diagnosed(
    circuit: str, sessions: Sequence[Path | str], rows: Sequence[Mapping[str, object]], observed: Mapping[str, str]
) -> Diagnosed:
    """Diagnose from sessions, readings and looks; see `meterlog.diagnose`.

    Raises:
        CircuitError: the circuit or a reading cannot be used.
        SessionError: a session cannot be read.
    """
    drawn = load_circuit(circuit)
    measured, told = measured_from_table({"measured": list(rows), "observed": dict(observed)}, drawn)
    more, left_out = measurements_from_sessions(sessions, drawn)
    return Diagnosed(Diagnoser(drawn).diagnose([*measured, *more], told), tuple(left_out))
