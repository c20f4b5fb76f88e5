"""Says a diagnosis in a terminal: the verdict, the parts with their evidence, what to do next, and what to mind."""

from __future__ import annotations

from collections.abc import Sequence

from meterlog.cautions import applying, first_said
from meterlog.circuit import acts
from meterlog.circuit.diagnosis import Diagnosis
from meterlog.circuit.model.bulb import BRIGHTNESS
from meterlog.circuit.model.circuit import Circuit
from meterlog.circuit.next_measurement.instructions import instruction
from meterlog.circuit.next_measurement.propose import Proposal, Step
from meterlog.circuit.next_measurement.suggest import Suggestion
from meterlog.circuit.readings.observed import questions
from meterlog.circuit.readings.trial import Told
from meterlog.text.figures import percent
from meterlog.text.ids import plain


def as_text(circuit: Circuit, diagnosis: Diagnosis, said: set[str]) -> str:
    """The diagnosis as a person reads it: the verdict, the parts with their evidence, what to do next.

    Args:
        circuit: what it is about.
        diagnosis: what to show.
        said: takes in the cautions that are shown.
    """
    lines = [f"{circuit.name}: {plain(diagnosis.verdict)}", "", *map(plain, _part_lines(diagnosis))]
    if diagnosis.steps:
        lines += ["", *map(plain, _next_lines(circuit, diagnosis.steps[0]))]
        lines += [f"Or act: {plain(diagnosis.acting.text)}."] if diagnosis.acting else []
        said.update(diagnosis.steps[0].cautions)
    else:
        lines += ["", plain(diagnosis.enough), *mind("  Mind, before you do that:", diagnosis.repair_cautions)]
        said.update(diagnosis.repair_cautions)
    lines.append(f"Fault rates: {diagnosis.rates_source}.")
    return "\n".join(lines)


def _part_lines(diagnosis: Diagnosis) -> list[str]:
    """The likeliest parts with what speaks for and against each; and what contradicts."""
    lines = []
    healthy = f"  {percent(diagnosis.healthy):>9}  healthy: nothing wrong in this circuit"
    for h in diagnosis.hypotheses[:5]:
        if h.probability < 0.02:
            break
        if healthy and diagnosis.healthy > h.probability:
            lines.append(healthy)
            healthy = ""
        lines.append(f"  {percent(h.probability):>9}  {h.part}: {h.title}")
        lines += [f"             for: {sentence}" for sentence in h.speaks_for[:3]]
        lines += [f"             against: {sentence}" for sentence in h.speaks_against[:3]]
        lines += [
            f"             behind it, {percent(one.probability)}: {one.words}; next: {one.next}" for one in h.behind
        ]
    if healthy:
        lines.append(healthy)
    return [*lines, *(f"Check: {sentence}" for sentence in diagnosis.inconsistent)]


def _next_lines(circuit: Circuit, step: Step) -> list[str]:
    return _measure_lines(circuit, step) if isinstance(step, Suggestion) else _try_lines(step)


def _try_lines(p: Proposal) -> list[str]:
    lines = [f"Try next: {p.title}", f"  takes about {p.minutes:.0f} min", f"  {p.how.text}"]
    lines += [f"  {seen}: {meaning}" for seen, meaning in p.outcomes]
    return [*lines, *mind("  Mind, before you do that:", p.cautions)]


def _measure_lines(circuit: Circuit, s: Suggestion) -> list[str]:
    m = s.measurement
    what = m.place.removeprefix("on ") if m.quantity == "lamp" else f"{m.quantity} {m.place}"
    lines = [
        f"Measure next: {what}",
        f"  takes about {s.minutes:.0f} min",
        f"  {instruction(circuit, m).text}",
    ]
    lines += [f"  {seen}: {meaning}" for seen, meaning in s.outcomes]
    again = [f"  {s.again}"] if s.again else []
    return [*lines, *again, *mind("  Mind, before you measure:", s.cautions)]


def question_lines() -> list[str]:
    """Everything that can be observed without an instrument, with its answers."""
    return [f"  {one.key} {'|'.join(one.answers or BRIGHTNESS)}: {one.text}" for one in questions().values()]


def mind(heading: str, cautions: Sequence[str]) -> list[str]:
    """Lines with cautions under a heading; none where there are none."""
    return [heading, *(f"    - {caution}" for caution in cautions)] if cautions else []


def print_general(circuit: Circuit, tried: Sequence[Told], said: set[str]) -> None:
    """Print the cautions of all of a circuit and of what was tried that are not in `said`, and note them there."""
    every = applying(acts.beginning(circuit), *acts.tries(circuit, tried))
    print_mind("Mind, on this circuit:", first_said(said, every))


def print_mind(heading: str, cautions: Sequence[str]) -> None:
    """Print cautions under a heading; nothing where there are none."""
    for line in mind(heading, cautions):
        print(line)
