"""Teaches a meter in the terminal: from a capture and a list of what was shown, or by asking for it live."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Sequence
from datetime import datetime
from pathlib import Path

from meterlog.errors import NotLearned, UsageError
from meterlog.exchange.finished_file import finished_file, refuse_existing
from meterlog.transports.raw_capture import read_raw_capture
from meterlog_drivers.teach.listening import Listening
from meterlog_drivers.teach.moments import Moment, parse_label, read_moments
from meterlog_drivers.teach.questions.next_question import next_question
from meterlog_drivers.teach.questions.question import Question
from meterlog_drivers.teach.teacher import Taught, teach

MOST_QUESTIONS = 30
"""Questions after which it ends by itself; the person may go on with another lesson. A choice."""
INTRODUCTION = (
    "Do what each step says, leave the display until it stands still, and type what it shows, with its unit:",
    "12.34 V, -3.2 mA, 230.1 V AC, OL kohm. Where it shows two numbers, both, the main one first: 230.1 V AC; 50.0 Hz.",
    "Enter alone passes over what this meter cannot do; 'done' writes down what is known so far.",
)
ENOUGH_READINGS = 15
"""Readings by which most meters are known as far as they were shown (`python -m tests.bench.teach`)."""
LEAST_SECOND_BITS = 8
"""Bits that move beside the number, from which on a second one may be among them; a guess."""
DEFAULT_OUT = "meter.toml"
Ask = Callable[[str], str | None]
"""Shows a prompt; returns what was typed, None at the end of input."""


def teach_meter(target: str, shown: Path | None, out: Path | None, ask: Ask, *, replace: bool = False) -> Iterator[str]:
    """Teach, and yield what to show the person; the profile is written at the end.

    Args:
        target: a port, `ble:ADDRESS`, or the file of a raw capture.
        shown: for a capture, the file of what was shown.
        out: where the profile goes.
        ask: shows a prompt and returns what was typed.
        replace: whether an existing profile is written over.

    Raises:
        NotLearned: not enough was shown, or it does not fit.
        LinkError, SessionError, TableError, UsageError: a port, capture or list cannot be used.
    """
    out = out or Path(DEFAULT_OUT)
    refuse_existing(out, replace=replace)
    if Path(target).is_file():
        yield from _from_capture(Path(target), shown, out)
    elif shown is not None:
        raise UsageError(f"--shown goes with a capture made earlier; there is no file '{target}'")
    else:
        yield from _live(target, out, ask)


def _from_capture(path: Path, shown: Path | None, out: Path) -> Iterator[str]:
    if shown is None:
        raise UsageError(f"to learn from the capture '{path}', say what the display showed: --shown FILE.csv")
    capture = read_raw_capture(path)
    moments = read_moments(shown)
    if capture.plain or not capture.chunks:
        raise NotLearned(f"'{path}' holds no times, so nobody can tell which of its bytes belong to what was shown")
    line = _line_of(capture.address, capture.byte_time_s)
    taught = teach(capture.chunks, capture.byte_time_s, moments, [line], _today())
    yield f"{path}: {taught.described}"
    yield from _about_moments(taught, moments)
    yield from _kept(taught, moments, out)


def _line_of(address: str, byte_time_s: float) -> str:
    """The line settings under which a capture came, as far as it says them; the usual ones else."""
    options = dict(part.split("=", 1) for part in address.partition("?")[2].split("&") if "=" in part)
    baud = options.get("baud") or (str(round(10 / byte_time_s)) if byte_time_s else "9600")
    return f"{baud} {options.get('line', '8N1')}"


def _live(target: str, out: Path, ask: Ask) -> Iterator[str]:
    with Listening.to(target) as listening:
        yield f"{target}: listening at {listening.line}"
        yield from INTRODUCTION
        moments: list[Moment] = []
        refused: set[str] = set()
        taught: Taught | None = None
        for number in range(1, MOST_QUESTIONS + 1):
            question = next_question(taught.lesson if taught else None, refused, len(moments))
            if question is None:
                yield "Nothing is left to ask."
                break
            yield f"\n{number}. {question.text}.\n   ({question.why})"
            answer = _answer(ask, question, refused)
            if answer is None:
                break
            if not answer:
                continue
            refused.add(question.name)  # asked once; where it left something open, that has another name
            moments.append(Moment(listening.now_s, parse_label(answer)))
            taught = teach(listening.chunks, listening.byte_time_s, moments, [listening.line], _today())
            yield from _after_answer(taught, moments)
            if len(moments) == ENOUGH_READINGS and taught.profile:
                yield "   That is enough to record what was shown so far: 'done' writes it down, more steps add to it."
        if taught is None:
            raise NotLearned("nothing was shown, so nothing was learned")
        yield ""
        yield from _about_moments(taught, moments)
        yield from _kept(taught, moments, out, refused, target)


def _answer(ask: Ask, question: Question, refused: set[str]) -> str | None:
    """Return what was typed for a question: None to end, empty to pass it over."""
    while True:
        typed = ask("   > ")
        if typed is None or typed.strip().casefold() in ("done", "end", "quit"):
            return None
        if not typed.strip():
            refused.add(question.name)
            return ""
        try:
            parse_label(typed)
        except ValueError as error:
            typed = None
            ask_again = str(error)
        else:
            return typed
        ask(f"   {ask_again}; press Enter and type it again ")


def _after_answer(taught: Taught, moments: Sequence[Moment]) -> Iterator[str]:
    last = len(moments) - 1
    if last in taught.second_slips:
        yield f"   The second number does not fit: {taught.second_slips[last]}. It is left out."
    if last in taught.slips:
        yield f"   That does not fit: {taught.slips[last]}. It is left out; if it was right, show it again."
    elif taught.late.get(last, 0) > 0:
        yield f"   Understood; the display had moved on {taught.late[last]} times meanwhile."
    elif taught.problem:
        heard = f" {taught.described};" if last == 0 else ""
        yield f"   Kept;{heard} {taught.problem}."
    else:
        yield f"   Understood; {taught.read} of the {taught.frames} frames heard so far can be read."
        if moments[last].label.second and taught.second:
            yield f"   {taught.second[0].upper()}{taught.second[1:]}."


def _about_moments(taught: Taught, moments: Sequence[Moment]) -> Iterator[str]:
    for n, why in sorted(taught.slips.items()):
        yield f"reading {n + 1} ({moments[n].label.text}) is left out: {why}; a slip of the keyboard?"
    for n, why in sorted(taught.second_slips.items()):
        second = moments[n].label.second
        yield f"the second number of reading {n + 1} ({second.text if second else ''}) is left out: {why}"
    late = [n + 1 for n, count in taught.late.items() if count > 0]
    if late:
        yield f"typed after the display had moved on, and understood: reading {', '.join(map(str, late))}"


def _kept(
    taught: Taught, moments: Sequence[Moment], out: Path, refused: Collection[str] = (), port: str = "PORT"
) -> Iterator[str]:
    """Write the profile, or say what is missing for it."""
    more = next_question(taught.lesson, refused, len(moments))
    if not taught.profile:
        what = f"; show next: {more.text}" if more else ""
        raise NotLearned(f"nothing was written: {taught.problem}{what}")
    with finished_file(out, replace=True) as passing:  # an existing one was asked about before the lesson
        passing.write_text(taught.profile, encoding="utf-8")
    good = len(moments) - len(taught.slips)
    yield f"learned from {good} of {len(moments)} readings: {taught.read} of {taught.frames} frames can be read"
    if taught.frames > taught.read:
        yield f"{taught.frames - taught.read} frames show what was never taught; they are not read"
    if taught.second:
        yield taught.second
    elif taught.unread_bits >= LEAST_SECOND_BITS:
        yield f"{taught.unread_bits} bits moved that are not read: a bar, a counter, or a second number on the display"
        yield "(if it shows one, teach it again and type both: 230.1 V AC; 50.0 Hz)"
    if more:
        yield f"still open: {more.why}; to close it: {more.text}"
    kind = "text" if 'kind = "text"' in taught.profile else "frames"
    address = f"{port}?decoder={kind}&profile={out}" if port.startswith("ble:") else f"{kind}:{port}?profile={out}"
    yield f"wrote {out}"
    yield f'compare it with the display:\n  meterlog meters --check "{address}"'
    yield f'record with it:\n  meterlog record --meter "{address}"'


def _today() -> str:
    return datetime.now().astimezone().date().isoformat()
