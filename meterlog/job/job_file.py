"""`job.toml`: read strictly, written with comments and order kept, whole or not at all, by one writer at a time."""

from __future__ import annotations

import os
import socket
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from datetime import date, datetime
from pathlib import Path
from typing import Any

import tomlkit
from filelock import FileLock, Timeout
from tomlkit.items import AoT, Table

from meterlog.circuit.faults.fault_rates import DEFAULT_RATES, MOST_RATE, Rates
from meterlog.errors import JobBusy, JobError, NewerJob, did_you_mean
from meterlog.exchange.finished_file import finished_file
from meterlog.job.job import STEP_KINDS, Job, Step, StepKind
from meterlog.text.toml import TomlText, read_toml

NAME = "job.toml"
FORMAT = 1
"""The version of the file; a later one is refused untouched."""
_HEAD = """\
# A job: one repair from complaint to proof. Edit what you like: comments and order are kept.
# Each [[step]] is something that was done; 'undone' marks one that was taken back.
"""
_NEEDED: Mapping[StepKind, tuple[str, ...]] = {
    "look": ("key", "answer"),
    "measured": ("quantity", "at", "value"),
    "skipped": ("place",),
    "tried": ("result",),
    "repaired": ("part",),
    "photo": ("file",),
    "waiting": ("reason",),
    "closed": ("reason",),
    "note": ("text",),
}
"""The keys that a step of each kind must have."""


def create_job(
    folder: Path,
    *,
    complaint: str,
    vehicle: str,
    meters: tuple[str, ...],
    tool: str,
    details: Mapping[str, str],
    rates: Rates | None = None,
) -> Job:
    """Make the folder of a new job.

    Args:
        folder: to be made.
        complaint, vehicle, meters, tool, details: as `Job` has them.
        rates: fault rates other than the guesses; they are kept in the job, which may go where no other job is.

    Raises:
        JobError: there is a job already, or the folder cannot be made.
    """
    if (folder / NAME).exists():
        raise JobError(f"'{folder}' is a job already: see 'meterlog job status {folder}', or name another folder")
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise JobError(f"'{folder}' cannot be made: {error.strerror or error}") from error
    document = tomlkit.parse(_HEAD)
    document["format"] = FORMAT
    document["complaint"] = complaint
    document["vehicle"] = vehicle
    document["circuit"] = ""
    document["meters"] = list(meters)
    document["tool"] = tool
    document["opened"] = now()
    document["details"] = dict(details)
    if rates is not None and rates.by_name:
        moved = {kind: round(rate, 3) for kind, rate in rates.by_name.items()}
        document["rates"] = {"source": rates.source, **moved}
    with _locked(folder):
        _write(folder, tomlkit.dumps(document))
    return read_job(folder)


def read_job(folder: Path) -> Job:
    """Read a job.

    Raises:
        JobError: there is none, or its file is damaged; names the line and the key.
        NewerJob: a later version of this program wrote it.
    """
    path = folder / NAME
    try:
        text = read_toml(path, JobError)
    except (FileNotFoundError, NotADirectoryError):
        raise JobError(f"there is no job in '{folder}': begin one with 'meterlog job start {folder}'") from None
    values = text.values
    version = values.get("format")
    if not isinstance(version, int) or isinstance(version, bool):
        raise _wrong(text, "", "format", "must be the number of the file's version")
    if version > FORMAT:
        raise NewerJob(f"'{path}' was written by a later version of meterlog: update it to go on with this job")
    return Job(
        folder=folder,
        complaint=_text(text, "complaint"),
        vehicle=_text(text, "vehicle"),
        first_circuit=_file_name(text, "circuit"),
        meters=_texts(text, "meters"),
        tool=_tool(text),
        details=_details(text),
        steps=tuple(_steps(text)),
        rates=_rates(text),
    )


@contextmanager
def editing(folder: Path) -> Iterator[tomlkit.TOMLDocument]:
    """The document to change; it is written at the end, and stays as it was where an error came in between.

    Raises:
        JobBusy: another program is writing it.
        JobError: its file is damaged, or cannot be written.
    """
    with _locked(folder):
        read_job(folder)  # nothing is written over what cannot be understood
        document = tomlkit.parse((folder / NAME).read_text("utf-8-sig"))
        yield document
        _write(folder, tomlkit.dumps(document))
        read_job(folder)


def add_step(folder: Path, kind: StepKind, values: Mapping[str, object]) -> Job:
    """Put a step at the end of the journal.

    Raises:
        JobError: the job cannot be read or written.
    """
    return add_steps(folder, [(kind, values)])


def add_steps(folder: Path, steps: Iterable[tuple[StepKind, Mapping[str, object]]]) -> Job:
    """Put steps at the end of the journal, in one write.

    Raises:
        JobError: the job cannot be read or written.
    """
    tables = [_table(kind, values) for kind, values in steps]
    with editing(folder) as document:
        journal = document.get("step")
        if not isinstance(journal, AoT):
            journal = tomlkit.aot()
            document["step"] = journal
        for table in tables:
            journal.append(table)
    return read_job(folder)


def _table(kind: StepKind, values: Mapping[str, object]) -> Table:
    table = tomlkit.table()
    table.trivia.indent = "\n"  # an empty line before each step
    table["step"] = kind
    table["when"] = now()
    for key, value in values.items():
        if value is not None and value != "":
            table[key] = value
    return table


def undo(folder: Path) -> Step:
    """Take back the last step that stands; it stays in the file, marked.

    Raises:
        JobError: there is nothing to take back.
    """
    with editing(folder) as document:
        steps = document.get("step", [])
        standing = [table for table in steps if "undone" not in table]
        if not standing:
            raise JobError(f"nothing was done yet in '{folder}'")
        standing[-1]["undone"] = now()
        taken = standing[-1].unwrap()
    return _step(taken)


def set_value(folder: Path, key: str, value: object) -> Job:
    """Set a key at the top of the file.

    Raises:
        JobError: the job cannot be read or written.
    """
    with editing(folder) as document:
        document[key] = value
    return read_job(folder)


def now() -> str:
    """This moment, ISO 8601 with the time zone."""
    return datetime.now().astimezone().isoformat(timespec="seconds")


@contextmanager
def measuring(folder: Path) -> Iterator[None]:
    """Inside, no other program takes readings for the job; entering them by hand goes on.

    Raises:
        JobBusy: another program is measuring for it.
        JobError: the folder cannot be written.
    """
    with _held(folder, ".measure", 0.0, f"another program measures for '{folder}'{{who}}: end it there first"):
        yield


@contextmanager
def _locked(folder: Path) -> Iterator[None]:
    busy = f"another program is writing '{folder / NAME}'{{who}}: try again when it is done"
    with _held(folder, ".job", 2.0, busy):
        yield


@contextmanager
def _held(folder: Path, name: str, wait_s: float, busy: str) -> Iterator[None]:
    """Inside, a lock of the folder is held; beside it stands who has it, for the `{who}` of the others' sentence."""
    lock, holder = FileLock(folder / f"{name}.lock"), folder / f"{name}.holder"
    try:
        lock.acquire(timeout=wait_s)
    except Timeout:
        raise JobBusy(busy.replace("{who}", _read_holder(holder))) from None
    except OSError as error:
        raise JobError(f"'{folder}' cannot be written: {error.strerror or error}") from error
    try:
        holder.write_text(f"process {os.getpid()} on {socket.gethostname()} since {now()}", "utf-8")
        yield
    finally:
        holder.unlink(missing_ok=True)
        lock.release()


def _read_holder(holder: Path) -> str:
    try:
        return f" ({holder.read_text('utf-8')})"
    except (OSError, ValueError):
        return ""


def _write(folder: Path, text: str) -> None:
    with finished_file(folder / NAME, replace=True) as passing:
        passing.write_bytes(text.encode("utf-8"))


def _steps(text: TomlText) -> Iterator[Step]:
    rows = text.values.get("step", [])
    if not isinstance(rows, list) or not all(isinstance(row, dict) for row in rows):
        raise _wrong(text, "", "step", "must be tables [[step]]")
    for number, row in enumerate(rows):
        place = f"step#{number}"
        kind = row.get("step")
        if kind not in STEP_KINDS:
            raise _wrong(text, place, "step", f"must be one of {', '.join(STEP_KINDS)}")
        for key in _NEEDED[kind]:
            if key not in row:
                raise _wrong(text, place, key, f"is missing: '{kind}' needs it")
        if "until" in row:
            _check_day(text, place, str(row["until"]))
        if "undone" not in row:
            yield _step(row, text.line(place, "step") or 0)


def _check_day(text: TomlText, place: str, day: str) -> None:
    try:
        date.fromisoformat(day)
    except ValueError:
        raise _wrong(text, place, "until", "must be a date as YYYY-MM-DD") from None


def _step(row: Mapping[str, Any], line: int = 0) -> Step:
    values = {key: value for key, value in row.items() if key not in ("step", "when", "undone")}
    return Step(row["step"], str(row.get("when", "")), values, line)


def _wrong(text: TomlText, place: str, key: str, what: str) -> JobError:
    line = text.line(place, key)
    return JobError(f"{text.path}{f', line {line}' if line else ''}: '{key}' {what}; nothing was changed")


def _text(text: TomlText, key: str) -> str:
    value = text.values.get(key, "")
    if not isinstance(value, str):
        raise _wrong(text, "", key, "must be text in quotes")
    return value


def _tool(text: TomlText) -> str:
    tool = _text(text, "tool")
    if tool not in ("", "meter", "lamp"):
        raise _wrong(text, "", "tool", "must be meter or lamp")
    return tool


def _file_name(text: TomlText, key: str) -> str:
    """The name of a file in the folder itself."""
    name = _text(text, key)
    if name and (Path(name).name != name or name in (".", "..")):
        raise _wrong(text, "", key, "must be the name of a file in the job's folder")
    return name


def _texts(text: TomlText, key: str) -> tuple[str, ...]:
    value = text.values.get(key, [])
    if not isinstance(value, list) or not all(isinstance(one, str) for one in value):
        raise _wrong(text, "", key, "must be a list of texts")
    return tuple(value)


def _rates(text: TomlText) -> Rates:
    value = text.values.get("rates")
    if value is None:
        return Rates()
    if not isinstance(value, dict) or not isinstance(value.get("source"), str):
        raise _wrong(text, "rates", "source", "must be text in quotes: where these fault rates are from")
    by_kind = {key: rate for key, rate in value.items() if key != "source"}
    for key, rate in by_kind.items():
        if key not in DEFAULT_RATES:
            raise _wrong(text, "rates", key, f"is not a kind of part{did_you_mean(key, DEFAULT_RATES)}")
        if isinstance(rate, bool) or not isinstance(rate, int | float) or not 0 < rate < MOST_RATE:
            raise _wrong(text, "rates", key, "must be a number above 0")
    return Rates({key: float(rate) for key, rate in by_kind.items()}, str(value["source"]))


def _details(text: TomlText) -> dict[str, str]:
    value = text.values.get("details", {})
    if not isinstance(value, dict) or not all(isinstance(one, str | int | float) for one in value.values()):
        raise _wrong(text, "details", "", "must be a table of texts")
    return {key: str(one) for key, one in value.items()}
