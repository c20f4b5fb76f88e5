"""A job as its file tells it: who and what, and the steps that were taken, one after the other."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from functools import cached_property
from pathlib import Path
from typing import Literal, get_args

from meterlog.circuit.faults.fault_rates import Rates
from meterlog.text.times import today

StepKind = Literal["look", "measured", "skipped", "tried", "repaired", "photo", "waiting", "closed", "note"]
STEP_KINDS: tuple[StepKind, ...] = get_args(StepKind)


@dataclass(frozen=True, slots=True)
class Step:
    """Something that was done.

    Attributes:
        kind: what.
        when: ISO 8601, with the time zone.
        values: what belongs to it, by key.
        line: where it stands in the file; 0 where nobody knows.
    """

    kind: StepKind
    when: str
    values: Mapping[str, object]
    line: int = field(default=0, compare=False)


@dataclass(frozen=True)
class Job:
    """A job as it stands in `job.toml`.

    Attributes:
        folder: where it lies.
        complaint: what the driver says.
        vehicle: which one; empty where nobody said.
        first_circuit: the circuit file it was begun with, in the folder; empty where none was named.
        meters: the meters' addresses.
        tool: what there is to read with: `lamp`, or empty for a meter.
        details: what else was entered: customer, odometer, system_v, temperature_c, ...
        steps: what was done and not undone, oldest first.
        rates: fault rates that it was begun with.
    """

    folder: Path
    complaint: str
    vehicle: str
    first_circuit: str
    meters: tuple[str, ...]
    tool: str
    details: Mapping[str, str]
    steps: tuple[Step, ...]
    rates: Rates = field(default_factory=Rates)

    @property
    def title(self) -> str:
        """Return what it is called in a list: vehicle and complaint."""
        return " · ".join(filter(None, (self.vehicle, self.complaint)))

    def of(self, *kinds: StepKind) -> list[Step]:
        """Return the steps of some kinds."""
        return [step for step in self.steps if step.kind in kinds]

    @cached_property
    def circuit(self) -> str:
        """The file of its circuit, in the folder: the last one that a look led to; empty while none is chosen."""
        led_to = [str(step.values["circuit"]) for step in self.of("look") if "circuit" in step.values]
        return led_to[-1] if led_to else self.first_circuit

    @cached_property
    def observed(self) -> dict[str, str]:
        """The answers to looks, the last one of each key."""
        return {str(step.values["key"]): str(step.values["answer"]) for step in self.of("look")}

    @cached_property
    def before(self) -> tuple[Step, ...]:
        """The steps before the last repair; all of them while there is none."""
        return self.steps[: self._repair] if self._repair is not None else self.steps

    @cached_property
    def after(self) -> tuple[Step, ...]:
        """The steps since the last repair."""
        return self.steps[self._repair + 1 :] if self._repair is not None else ()

    @cached_property
    def repaired(self) -> str:
        """The part that was repaired last; empty while none was."""
        return str(self.steps[self._repair].values["part"]) if self._repair is not None else ""

    @cached_property
    def closed(self) -> str:
        """The reason for which a person closed it; empty while it is not closed."""
        closed = self.of("closed")
        return str(closed[-1].values["reason"]) if closed else ""

    @cached_property
    def waiting(self) -> str:
        """Return what it waits for; empty once something else was done."""
        return str(self.steps[-1].values["reason"]) if self.waits else ""

    @property
    def due(self) -> str:
        """Say when what it waits for is due, seen from today; empty where nobody said."""
        if not self.waits or "until" not in self.steps[-1].values:
            return ""
        until, now = date.fromisoformat(str(self.steps[-1].values["until"])), today()
        if until == now:
            return "due today"
        return f"due {until}" if until > now else f"due since {until}"

    @property
    def sessions(self) -> tuple[str, ...]:
        """The files in the folder that its readings came from, each once."""
        names = (str(step.values["session"]) for step in self.of("measured") if "session" in step.values)
        return tuple(dict.fromkeys(Path(name).name for name in names))

    @property
    def missing_sessions(self) -> list[str]:
        """Those of them that are gone; what was read stays."""
        return [name for name in self.sessions if not (self.folder / name).is_file()]

    @property
    def waits(self) -> bool:
        """Tell whether it waits for something."""
        return bool(self.steps) and self.steps[-1].kind == "waiting"

    @cached_property
    def _repair(self) -> int | None:
        return max((k for k, step in enumerate(self.steps) if step.kind == "repaired"), default=None)
