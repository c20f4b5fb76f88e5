"""Which part of a circuit is at fault, how sure that is, and which measurement to take next.

The circuit is a template's name or a TOML file (copy a template and put in your vehicle's parts). What was measured
comes from that file, from --measured, from recorded sessions, and, in a terminal, from your answers.
"""

from __future__ import annotations

import argparse
import json
import math
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from meterlog.cli.circuit_case import add_case_arguments, collect, make_diagnoser
from meterlog.errors import CircuitError, MeterlogError, UsageError
from meterlog.plain_text import one_line

if TYPE_CHECKING:
    from meterlog.circuit.diagnosis import Diagnoser, Diagnosis
    from meterlog.circuit.measured import Measurement, Tried
    from meterlog.circuit.model import Circuit
    from meterlog.circuit.suggest import Suggestion

EXAMPLE = "meterlog diagnose --circuit pump-feed --measured readings.toml"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    parser.add_argument(
        "sessions", nargs="*", metavar="SESSION", help="recorded sessions: their points and markers count"
    )
    add_case_arguments(parser, required=True)
    parser.add_argument("--meter", metavar="ADDRESS", help="take the suggested reading live from this meter")
    parser.add_argument("--save", metavar="FILE", help="keep what you answer in this file, for --measured")
    parser.add_argument("--json", action="store_true", help="one JSON object on standard output, no questions")


def run(args: argparse.Namespace) -> int:
    """Do it; the exit status."""
    diagnoser = make_diagnoser(args)
    measured, tried, left_out = collect(args, diagnoser.circuit)
    for sentence in left_out:
        print(f"note: {one_line(sentence)}", file=sys.stderr)
    if args.json:
        print(json.dumps(diagnoser.diagnose(measured, tried).as_json(), allow_nan=False, ensure_ascii=False))
        return 0
    if not sys.stdin.isatty():
        print(as_text(diagnoser.circuit, diagnoser.diagnose(measured, tried)))
        return 0
    return _Talk(args, diagnoser, measured, tried).run()


def as_text(circuit: Circuit, diagnosis: Diagnosis) -> str:
    """The diagnosis as a person reads it: the verdict, the parts with their evidence, what to do next."""
    from meterlog.circuit.diagnosis import percent

    lines = [f"{circuit.name}: {diagnosis.verdict}", ""]
    healthy = f"  {percent(diagnosis.healthy):>9}  healthy: nothing wrong in this circuit"
    for h in diagnosis.hypotheses[:5]:
        if h.probability < 0.02:
            break
        if healthy and diagnosis.healthy > h.probability:
            lines.append(healthy)
            healthy = ""
        lines.append(f"  {percent(h.probability):>9}  {h.part}: {h.fault.replace('_', ' ')}{_band(h.resistance_ohm)}")
        lines += [f"             for: {sentence}" for sentence in h.speaks_for[:3]]
        lines += [f"             against: {sentence}" for sentence in h.speaks_against[:3]]
    if healthy:
        lines.append(healthy)
    lines += [f"Check: {sentence}" for sentence in diagnosis.inconsistent]
    if diagnosis.next:
        lines += ["", *_next_lines(diagnosis.next[0])]
    lines.append(f"Fault rates: {diagnosis.rates_source}.")
    return "\n".join(lines)


def _band(band: tuple[float, float] | None) -> str:
    if band is None or math.isinf(band[0]):
        return ""
    return f", {band[0]:.2g} ohm or more" if math.isinf(band[1]) else f", {band[0]:.2g} to {band[1]:.2g} ohm"


def _next_lines(s: Suggestion) -> list[str]:
    name = s.measurement.quantity.replace("_", " ")
    lines = [
        f"Measure next: {name} {s.measurement.place}",
        f"  about {s.minutes:.0f} min, {s.gain_bits:.2f} bits expected",
    ]
    lines += [f"  {seen}: {meaning}" for seen, meaning in s.outcomes]
    return [*lines, f"  Mind: {s.caution}"] if s.caution else lines


class _Talk:
    """The questions in a terminal: the suggested reading, the next best, a direct feed, or an end."""

    def __init__(
        self, args: argparse.Namespace, diagnoser: Diagnoser, measured: list[Measurement], tried: list[Tried]
    ) -> None:
        self.args = args
        self.diagnoser = diagnoser
        self.measured = measured
        self.tried = tried
        self.kept = _kept(args, diagnoser.circuit)
        self.skipped: set[str] = set()

    def run(self) -> int:
        """Ask until the person has had enough."""
        while True:
            diagnosis = self.diagnoser.diagnose(self.measured, self.tried, suggestions=30)
            left = [s for s in diagnosis.next if str(s.measurement.place) not in self.skipped]
            print(as_text(self.diagnoser.circuit, _with_next(diagnosis, left)))
            if not left:
                print("No measurement that this circuit allows would say much more.")
                return 0
            if not self._ask(left[0]):
                return 0
            if self.args.save:
                save(Path(self.args.save), *self.kept)

    def _ask(self, suggestion: Suggestion) -> bool:
        """One answer; False to end."""
        live = "Enter = take it from the meter, " if self.args.meter else ""
        while True:
            try:
                answer = input(f"\nReading ({live}a number, 'open', 'other', 'fed POINT runs|dead', 'end'): ").strip()
            except EOFError:
                return False
            if answer in ("end", "q"):
                return False
            if answer == "other":
                self.skipped.add(suggestion.measurement.place)
                return True
            try:
                self._take_in(answer, suggestion)
            except MeterlogError as error:
                print(f"  {error}")
            else:
                return True

    def _take_in(self, answer: str, suggestion: Suggestion) -> None:
        from meterlog.circuit.measured import measured_from_table

        m = suggestion.measurement
        words = answer.split()
        if words[:1] == ["fed"] and len(words) == 3:
            row = {"feed": "battery", "into": words[1], "result": words[2]}
            self._add(measured_from_table({"tried": [row]}, self.diagnoser.circuit, "answer"))
            return
        entry: dict[str, object] = {"quantity": m.quantity, "at": m.at, "to": m.to, "state": m.state, "load": m.load}
        if not answer:
            if not self.args.meter:
                raise UsageError("type the reading, 'other' for the next best measurement, or 'end'")
            value, error = self._live(m.quantity)
            entry |= {"value": "open" if math.isinf(value) else value}
            entry |= {} if math.isinf(value) else {"error": error}
        else:
            entry["value"] = "open" if answer == "open" else _number(answer)
        self._add(measured_from_table({"measured": [entry]}, self.diagnoser.circuit, "answer"))

    def _add(self, more: tuple[list[Measurement], list[Tried]]) -> None:
        for measured, tried in ((self.measured, self.tried), self.kept):
            measured += more[0]
            tried += more[1]

    def _live(self, quantity: str) -> tuple[float, float]:
        from meterlog.capture.meters import meter_setup
        from meterlog.circuit.live import take

        setup = meter_setup(self.args.meter)
        print("  waiting for a steady reading; turn the key now if the state asks for it ...")
        return take(
            setup.meter, quantity, accuracy=setup.accuracy, shown=lambda r: print(f"    {r.value:g} {r.quantity.unit}")
        )


def _kept(args: argparse.Namespace, circuit: Circuit) -> tuple[list[Measurement], list[Tried]]:
    """What `--save` begins with: what `--measured` gave. What sessions and the circuit file say stays in them, or it
    would count twice the next time.

    Raises:
        UsageError: `--save` would write over answers that were not read.
    """
    from meterlog.circuit.measured import load_measured

    if args.save and Path(args.save).exists() and (not args.measured or not Path(args.save).samefile(args.measured)):
        raise UsageError(f"'{args.save}' is there already: go on from it with --measured {args.save}, or name another")
    return load_measured(args.measured, circuit, templates=False) if args.measured else ([], [])


def _with_next(diagnosis: Diagnosis, left: list[Suggestion]) -> Diagnosis:
    from dataclasses import replace

    return replace(diagnosis, next=tuple(left))


def _number(text: str) -> float:
    try:
        return float(text.replace(",", ".").rstrip("VvAΩ "))
    except ValueError:
        raise UsageError(f"'{text}' is no number; write 12.3, or 'open' for an overload on ohms") from None


def save(path: Path, measured: list[Measurement], tried: list[Tried]) -> None:
    """Write measurements as TOML that --measured reads.

    Raises:
        CircuitError: the file cannot be written.
    """
    lines = ["measured = ["]
    for m in measured:
        value = '"open"' if math.isinf(m.value) else repr(m.value)
        error = "" if m.error is None else f", error = {m.error!r}"
        to = "" if m.at == m.to else f', to = "{m.to}"'
        lines.append(
            f'  {{quantity = "{m.quantity}", at = "{m.at}"{to}, state = "{m.state}", load = "{m.load}",'
            f" value = {value}{error}}},"
        )
    lines += ["]", "tried = ["]
    for t in tried:
        how = f'replaced = "{t.replaced}"' if t.replaced else f'feed = "{t.feed}", into = "{t.into}"'
        lines.append(f'  {{{how}, result = "{"runs" if t.runs else "dead"}"}},')
    try:
        path.write_text("\n".join([*lines, "]", ""]), "utf-8")
    except OSError as error:
        raise CircuitError(f"'{path}' cannot be written: {error}") from error
