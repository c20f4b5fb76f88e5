"""The questions of `meterlog diagnose` in a terminal: a reading, the next best, what was tried, or an end."""

from __future__ import annotations

import argparse
import json
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from meterlog.cautions import applying, first_said
from meterlog.circuit.acts import tried as act_of
from meterlog.circuit.diagnosis import Diagnoser
from meterlog.circuit.model.circuit import Circuit
from meterlog.circuit.next_measurement.propose import Proposal, Step
from meterlog.circuit.readings.from_file import load_measured, measured_from_table, refuse_too_many
from meterlog.circuit.readings.from_rows import measurement_from_row, trial_from_row
from meterlog.circuit.readings.measurement import Measurement
from meterlog.circuit.readings.observed import Observed
from meterlog.circuit.readings.trial import Told, Tried
from meterlog.circuit.readings.typed_answers import (
    HOW_BRIGHT,
    typed_lamp,
    typed_observed,
    typed_place,
    typed_plan,
    typed_trial,
    typed_unplugged,
    typed_value,
)
from meterlog.cli.terminal.diagnose_text import as_text, print_general, print_mind, question_lines
from meterlog.errors import CircuitError, MeterlogError, UsageError
from meterlog.text.safe import one_line

_ANSWER = "your answer:"
_CHOICES = (
    "a number, 'open', 'lamp dim', 'other', 'fed POINT', 'bridged PART' or 'replaced PART' before you try it,"
    " what you saw ('relay_clicks no'; 'seen?' lists it), 'end'"
)


class Talk:
    """Asks until the person has had enough; what was answered stays, whatever is typed next."""

    def __init__(
        self, args: argparse.Namespace, diagnoser: Diagnoser, measured: list[Measurement], tried: list[Told]
    ) -> None:
        self.args = args
        self.diagnoser = diagnoser
        self.measured = measured
        self.tried = tried
        self.kept = _kept(args, diagnoser.circuit)
        self.skipped: set[str] = set()
        self._said: set[str] = set()

    def run(self) -> int:
        """Ask; the exit status."""
        while True:
            diagnosis = self.diagnoser.diagnose(self.measured, self.tried, suggestions=30)
            left = [step for step in diagnosis.steps if step.place not in self.skipped]
            shown = set[str]()
            print(as_text(self.diagnoser.circuit, replace(diagnosis, steps=tuple(left)), shown))
            if not self._said:
                print_general(self.diagnoser.circuit, self.tried, shown)
            self._said |= shown
            if not left or not self._ask(left[0]):
                return 0
            if self.args.save:
                save(Path(self.args.save), *self.kept)

    def _ask(self, step: Step) -> bool:
        """One answer; False to end."""
        if isinstance(step, Proposal):
            question = f"What came of it ({', '.join(step.attempt.answers)}, or {_CHOICES})"
        else:
            question = f"Reading ({'Enter = take it from the meter, ' if self.args.meter else ''}{_CHOICES})"
        while True:
            try:
                answer = input(f"\n{question}: ").strip()
            except EOFError:
                return False
            if answer.casefold() in ("end", "q", "quit"):
                return False
            if answer.casefold() in ("seen", "seen?"):
                print("\n".join(question_lines()))
                continue
            if answer.casefold() == "other":
                self.skipped.add(step.place)
                return True
            try:
                if self._plan(answer):
                    continue
                self._take_in(answer, step)
            except MeterlogError as error:
                print(f"  {one_line(str(error))}")
            else:
                return True

    def _plan(self, answer: str) -> bool:
        """Say what to mind about something that is to be tried; False where the answer is something else."""
        circuit = self.diagnoser.circuit
        row = typed_plan(answer, circuit)
        if row is None:
            return False
        cautions = applying(act_of(circuit, trial_from_row(row, circuit, _ANSWER)))
        self._said.update(cautions)
        print_mind("Mind, before you do that:", cautions)
        print(f"Then type what came of it: '{one_line(answer)}' with 'runs', 'dead' or 'blew' (a fuse) after it")
        return True

    def _take_in(self, answer: str, step: Step) -> None:
        circuit = self.diagnoser.circuit
        trial = typed_trial(answer, circuit)
        if trial is not None:
            one = trial_from_row(trial, circuit, _ANSWER)
            unsaid = first_said(self._said, applying(act_of(circuit, one)))
            print_mind("Mind, whenever you do that:", unsaid)
            self._add([], [one])
            return
        seen = typed_observed(answer, circuit)
        if seen is not None:
            self._add(*measured_from_table({"observed": seen}, circuit, _ANSWER))
            return
        if isinstance(step, Proposal):
            came_of_it = step.attempt.told(circuit, answer)
            self.skipped.add(step.place)
            self._add([], [came_of_it] if came_of_it else [])
        else:
            self._read(answer, step.measurement)

    def _read(self, answer: str, m: Measurement) -> None:
        circuit = self.diagnoser.circuit
        refuse_too_many([*self.measured, m], circuit)
        row: dict[str, object] = {"quantity": m.quantity, "at": m.at, "to": m.to, "state": m.state, "load": m.load}
        row |= {"side": m.side} if m.side else {}
        answer, out = typed_unplugged(answer, circuit)
        row |= out or ({"unplugged": m.unplugged} if m.unplugged else {})
        lamp = typed_lamp(answer)
        if lamp is not None:
            row = _by_lamp(row, *lamp, circuit)
        elif m.quantity == "lamp":
            raise UsageError(HOW_BRIGHT)
        elif answer:
            row["value"] = typed_value(answer, m.quantity)
        elif self.args.meter:
            row["value"], error = self._live(m.quantity)
            row |= {"error": error} if error else {}
        else:
            raise UsageError("type the reading, 'other' for the next best measurement, or 'end'")
        self._add([measurement_from_row(row, circuit, _ANSWER)], [])

    def _add(self, measured: Sequence[Measurement], tried: Sequence[Told]) -> None:
        self.measured += measured
        self.tried += tried
        self.kept[0].extend(measured)
        self.kept[1].extend(tried)

    def _live(self, quantity: str) -> tuple[float, float]:
        from meterlog.capture.meters import meter_setup
        from meterlog.circuit.readings.from_meter import QUANTITIES, take

        setup = meter_setup(self.args.meter)
        print("  waiting for a steady reading; turn the key now if the state asks for it ...")
        accuracy = setup.accuracy_of(QUANTITIES[quantity][0])
        return take(setup, quantity, accuracy=accuracy, shown=lambda r: print(f"    {r.value:g} {r.quantity.unit}"))


def _by_lamp(asked: dict[str, object], lamp: dict[str, object], where: str, circuit: Circuit) -> dict[str, object]:
    """A lamp's row: at its own place, or at the place that was asked for.

    Raises:
        UsageError: a lamp says nothing about what was asked for, or there is no such place.
    """
    if where:
        place = typed_place(where, circuit)
        if place is None:
            raise UsageError(f"'{where}' is not a place of this circuit: write 'lamp dim at POINT'")
        return {key: asked[key] for key in ("state", "unplugged") if key in asked} | lamp | place
    if asked["quantity"] in ("current", "resistance"):
        raise UsageError(f"a lamp shows no {asked['quantity']}: say where it hangs, for example 'lamp dim at POINT'")
    load = "unplugged" if asked["load"] == "lamp" else asked["load"]
    return asked | {"load": load} | lamp


def _kept(args: argparse.Namespace, circuit: Circuit) -> tuple[list[Measurement], list[Told]]:
    """Return what `--save` begins with: the answers of `--measured`. Readings of sessions and of the circuit file are
    not copied, or they would count twice the next time.

    Raises:
        UsageError: `--save` would write over answers that were not read.
    """
    if args.save and Path(args.save).exists() and (not args.measured or not Path(args.save).samefile(args.measured)):
        raise UsageError(
            f"'{args.save}' exists already: continue it with --measured {args.save}, or choose another name"
        )
    return load_measured(args.measured, circuit, templates=False) if args.measured else ([], [])


def save(path: Path, measured: Sequence[Measurement], tried: Sequence[Told]) -> None:
    """Write measurements as TOML that --measured reads.

    Raises:
        CircuitError: the file cannot be written.
    """
    lines = ["measured = ["]
    for m in measured:
        lines.append(_row(m.as_row()))
    lines += ["]", "tried = ["]
    lines += [_row(one.as_row()) for one in tried if isinstance(one, Tried)]
    seen = {one.key: one.answer for one in tried if isinstance(one, Observed)}
    lines += ["]", *(["[observed]"] if seen else []), *(f"{key} = {_quoted(answer)}" for key, answer in seen.items())]
    try:
        path.write_text("\n".join([*lines, ""]), "utf-8")
    except OSError as error:
        raise CircuitError(f"'{path}' cannot be written: {error.strerror or error}") from error


def _row(row: dict[str, object]) -> str:
    """One line of a list of tables; a text or number of JSON is one of TOML too, but for DEL, which no id has."""
    return f"  {{{', '.join(f'{key} = {_quoted(value)}' for key, value in row.items())}}},"


def _quoted(value: object) -> str:
    return json.dumps(value, ensure_ascii=False)
