"""From a complaint to a circuit in a terminal: quick looks, one after the other, until one circuit is likely enough."""

from __future__ import annotations

from collections.abc import Iterable

from meterlog.circuit.complaints.complaint import Complaint, Look, Standing, likelihood, standing
from meterlog.circuit.complaints.complaint_file import complaints, find_complaint
from meterlog.circuit.model.circuit_file import template_names
from meterlog.cli.options.key_answers import key_answers
from meterlog.errors import CircuitError, UsageError
from meterlog.text.figures import percent
from meterlog.text.safe import one_line


def known_complaint(words: str) -> Complaint:
    """Return the complaint that the words mean.

    Raises:
        UsageError: none is near enough.
    """
    found = find_complaint(words)
    if found is None:
        known = "; ".join(complaint.text for complaint in complaints())
        raise UsageError(f"'{words}' is not a complaint known here: name the circuit, or say one of: {known}")
    return found


def observed_from_words(words: Iterable[str], complaint: Complaint) -> dict[str, str]:
    """Return the answers of `KEY=ANSWER`.

    Raises:
        UsageError: there is no `=`.
        CircuitError: there is no such look, or it has no such answer.
    """
    found = dict(key_answers(words, f"{complaint.looks[0].key}=no"))
    for key, answer in found.items():
        if answer != "unknown":
            likelihood(complaint.look(key), answer)
    return found


def standing_lines(complaint: Complaint, now: Standing) -> Iterable[str]:
    """Say where it stands, and what to look at next."""
    yield f"{complaint.text}: where it may come from"
    for name, chance in now.chances.items():
        words = f": {complaint.names[name]}" if name in complaint.names else ""
        yield f"  {percent(chance):>9}  {one_line(name)}{words}"
    if now.next is not None:
        yield f"Look next ({now.next.minutes:g} min): {now.next.question}"
        yield f"  --look {now.next.key}={'|'.join(now.next.answers)}"
    elif not now.chosen:
        yield "Nothing more to look at: choose one with --circuit."


def standing_json(complaint: Complaint, now: Standing) -> dict[str, object]:
    """Return the same for `--json`."""
    look = now.next
    asked = look and {"look": look.key, "text": look.question, "answers": [*look.answers], "minutes": look.minutes}
    return {
        "complaint": complaint.text,
        "circuits": [{"circuit": name, "probability": chance} for name, chance in now.chances.items()],
        "next": asked,
    }


def ask_looks(complaint: Complaint, observed: dict[str, str]) -> Standing:
    """Ask until a circuit is chosen or no look is left; the answers are put into `observed`.

    Raises:
        EOFError: the answers ended.
    """
    while (now := standing(complaint, observed)).next is not None:
        observed[now.next.key] = _answer(now.next)
    return now


def circuit_of(complaint: Complaint, now: Standing) -> str:
    """Return the template of the chosen circuit.

    Raises:
        CircuitError: what is likely is no circuit that can be measured here, with the way on.
    """
    if now.chosen in template_names():
        return now.chosen
    raise CircuitError(f"most likely it is {complaint.names[now.chosen]}")


def _answer(look: Look) -> str:
    print(look.question)
    while True:
        answer = input(f"  {', '.join(look.answers)}, or Enter where nobody knows: ").strip().casefold()
        if not answer:
            return "unknown"
        fitting = [known for known in look.answers if known.startswith(answer)]
        if answer in look.answers or len(fitting) == 1:
            return answer if answer in look.answers else fitting[0]
        print(f"  '{one_line(answer)}' is not one of them")
