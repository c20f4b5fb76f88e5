"""Says what a table would become: every column guessed, every open question listed with the answer that was taken."""

from __future__ import annotations

import dataclasses
from datetime import datetime, tzinfo
from pathlib import Path
from typing import Any, NamedTuple

from meterlog.errors import TableError
from meterlog.exchange.table.guess import ANOTHER_TIME, Guess, guess_columns
from meterlog.exchange.table.import_plan import ImportPlan, make_plan
from meterlog.exchange.table.import_table import restart_question
from meterlog.exchange.table.known_cells import KnownCells
from meterlog.exchange.table.layout import as_delimiter, grids_of, head_of
from meterlog.exchange.table.left_out import ask_about_left_out
from meterlog.exchange.table.loader import Loader
from meterlog.exchange.table.options import ImportOptions
from meterlog.exchange.table.question import Question
from meterlog.exchange.table.remarks import Remarks
from meterlog.exchange.table.row_reader import RowReader
from meterlog.exchange.table.session_start import session_start
from meterlog.exchange.table.source import open_source
from meterlog.exchange.table.text_rows import DAMAGED, NO_ROWS
from meterlog.exchange.table.zone import missing_hour_question

_MOST_QUESTIONS = 20
_SHOWN_COLUMNS = 8
SHOWN_ROWS = 5


_MISSING = ("--interval", "S")


class FirstRow(NamedTuple):
    """One of the first rows as it would become: line number, s from the session's start, values in their units."""

    line: int
    time_s: float
    values: list[float]


@dataclasses.dataclass(frozen=True, slots=True)
class Preview:
    """A table as it would become.

    Attributes:
        columns: what each column seems to be.
        options: what the import would be given.
        plan: what it would understand; None where a question has no likely answer.
        started_at: the session's start.
        rows: the first ones.
        kept: how many rows would be kept, and of how many.
        remarks: what would be left out.
        doubts: what was guessed and can be otherwise; what `--yes` does not take.
        missing: an option that only a person can fill in, and what stands for its value.
    """

    columns: list[Guess]
    options: ImportOptions
    plan: ImportPlan | None
    started_at: datetime | None
    rows: list[FirstRow]
    kept: tuple[int, int]
    remarks: list[str]
    doubts: list[str]
    missing: tuple[str, str] | tuple[()] = ()


def preview(path: Path, given: ImportOptions) -> Preview:
    """Look at a table of which nothing is known but what the options say.

    Raises:
        TableError: no table is found in it.
    """
    try:
        return _preview(path, given)
    except Question as question:  # two tables in one file: the first is looked at
        if question.option != "lines":
            raise
        seen = _preview(path, _answer(given, question))
        seen.doubts.insert(0, str(question))
        return seen


def _preview(path: Path, given: ImportOptions) -> Preview:
    doubts: list[str] = []
    try:
        source = open_source(path, given)
    except Question as asked:
        doubts.append(str(asked))
        given = _answer(given, asked)
        source = open_source(path, given)
    delimiter = source.delimiter or (as_delimiter(given.delimiter) if given.delimiter else None)
    lines = head_of(source.lines())
    grids = grids_of(lines, delimiter) or grids_of(lines, delimiter, 1)
    if not grids:
        first = next((line.strip() for _, line in lines if line.strip()), "")[:80]
        raise TableError(
            f"no table is found in the first {len(lines)} lines of '{path.name}'; the first is '{first}': if it is one,"
            " say what separates its columns with --delimiter"
        )
    columns = guess_columns(grids[0], lines)
    doubts += source.doubts
    options = _with_columns(given, columns, doubts)
    plan, options = _answered(path, options, doubts)
    missing = _MISSING if plan is None or not (options.time or given.interval) else ()
    if plan is None:
        return Preview(columns, options, None, None, [], (0, 0), [], doubts, missing)
    remarks = Remarks()
    reader = RowReader(plan, remarks)
    loader = Loader(plan, None, remarks, [KnownCells(column) for column in plan.values])
    rows: list[FirstRow] = []
    started_at, zero_s = None, 0.0
    for ordered in reader.rows():
        some = ordered.stretch.rows
        loader.load(some, ordered.stretch.error_s, ordered.channel, reader.texts)
        if started_at is None:
            zero_s, started_at, _ = session_start(plan, float(some.time_s[0]))
        for i in range(min(SHOWN_ROWS - len(rows), len(some))):
            values = [column.cells[some.block.columns[column.place][i]].value for column in plan.values]
            rows.append(FirstRow(some.block.line[i], float(some.time_s[i]) - zero_s, values))
    if reader.restarts and options.restarts == "stop":
        question = restart_question(reader.restarts, path.stem, plan)
        doubts.append(str(question))
        options = dataclasses.replace(options, restarts=question.answers[0])
    if missing:
        options = dataclasses.replace(options, interval=None)
    if step := reader.missing_hour:
        question = missing_hour_question(step, dated=plan.is_local)
        doubts.append(str(question))
        options = dataclasses.replace(options, zone=next(iter(question.answers), None))
        missing = missing or (() if question.answers else ("--zone", "ZONE"))
    if not given.time and (of_value := _time_of_each(columns)) and of_value.keys() >= set(options.value):
        options = _paired(options, of_value, doubts)
    said = list(remarks.sentences())
    seen = reader.seen + remarks.total(DAMAGED) - remarks.total(NO_ROWS)
    try:
        ask_about_left_out(options, remarks, seen)
    except Question as question:
        doubts.append(str(question))
        options = _answer(options, question)
    return Preview(columns, options, plan, started_at, rows, (loader.kept, seen), said, doubts, missing)


def _time_of_each(columns: list[Guess]) -> dict[str, str]:
    """The times of each column of values, where every column of times has values of its own behind it; else nothing."""
    times, of_value = [], {}
    for one in columns:
        if one.role == "time" or one.why == ANOTHER_TIME:
            times.append(one.name)
        elif one.role == "value" and one.quantity is not None and times:
            of_value[one.name] = times[-1]
    return of_value if len(times) > 1 and set(of_value.values()) == set(times) else {}


def _paired(options: ImportOptions, of_value: dict[str, str], doubts: list[str]) -> ImportOptions:
    """The options with the times of each column of values."""
    times = tuple(of_value[name] for name in options.value)
    others = " and ".join(f"'{name}'" for name in dict.fromkeys(times[1:]) if name != times[0])
    doubts.append(
        f"{others} is another time: with --join pairs each --value has the --time given for it; without it every"
        f" channel gets the times of '{times[0]}'"
    )
    return dataclasses.replace(options, time=times, join="pairs")


def _with_columns(given: ImportOptions, columns: list[Guess], doubts: list[str]) -> ImportOptions:
    """The options with the guessed columns, where the given ones name none."""
    named = {
        role: tuple(one.name for one in columns if one.role == role) for role in ("time", "state", "marker", "channel")
    }
    values = [one for one in columns if one.role == "value"]
    known = [one for one in values if one.quantity is not None] or values[:1]
    if not known and not given.value:
        seen = "; ".join(f"'{one.name}': {one.why or one.role}" for one in columns[:_SHOWN_COLUMNS])
        raise TableError(f"no column holds the readings of a meter ({seen}); name one with --value COL")
    changes: dict[str, Any] = {}
    if not given.time and not (given.interval and not named["time"]):
        changes["time"] = named["time"]
    if not changes.get("time", given.time) and given.interval is None:
        doubts.append("no column holds times: give the time between rows with --interval S, or --rate N/s")
        changes["interval"] = 1.0
    if not given.value:
        changes["value"] = tuple(one.name for one in known)
        if not given.quantity:
            changes["quantity"] = _same(tuple(str(one.quantity or "dc_voltage") for one in known))
        if any(not one.unit for one in known) and not given.unit:
            changes["unit"] = _same(tuple(_unit(one) for one in known))
            doubts += [_unstated(one) for one in known if not one.unit]
    if not given.state:
        changes["state"] = named["state"]
    if given.marker is None and named["marker"]:
        changes["marker"] = named["marker"][0]
    if given.channel is None and named["channel"]:
        changes["channel"] = named["channel"][0]
    return dataclasses.replace(given, **changes)


def _same(words: tuple[str, ...]) -> tuple[str, ...]:
    """One word for all where they agree."""
    return words[:1] if len(set(words)) == 1 else words


def _unit(one: Guess) -> str:
    return one.unit or (one.quantity.unit if one.quantity else "V")


def _unstated(one: Guess) -> str:
    if one.quantity is None:
        return f"nothing says what the column '{one.name}' holds: dc_voltage in V is a guess; see --quantity and --unit"
    milli = f"m{one.quantity.unit}" if one.quantity.unit in ("V", "A") else "another"
    return (
        f"the column '{one.name}' does not state its unit: {one.quantity} in {one.quantity.unit} is a guess;"
        f" {milli} would be --unit {milli if milli != 'another' else 'U'}"
    )


def _answered(path: Path, options: ImportOptions, doubts: list[str]) -> tuple[ImportPlan | None, ImportOptions]:
    """The plan, each of its questions answered with what is likeliest and noted as a doubt."""
    for _ in range(_MOST_QUESTIONS):
        try:
            return make_plan(path, options), options
        except Question as question:
            if question.option == "lines":
                raise
            doubts.append(str(question))
            if not question.answers:
                return None, options
            options = _answer(options, question)
    return None, options


def _answer(options: ImportOptions, question: Question) -> ImportOptions:
    """The options with the likeliest answer."""
    answer, old = question.answers[0], getattr(options, question.option)
    changes: dict[str, Any] = {question.option: (*old, answer) if isinstance(old, tuple) else answer}
    return dataclasses.replace(options, **changes)


def command_words(path: Path, seen: Preview, out: Path) -> list[str]:
    """The command that imports the table so."""
    words = ["meterlog", "import", str(path)]
    for field in dataclasses.fields(ImportOptions):
        value = getattr(seen.options, field.name)
        if value not in (None, ()) and value != field.default:
            for one in value if isinstance(value, tuple) else (value,):
                option = f"--{field.name.replace('_', '-')}"
                words += [option] if one is True else _option(option, _spelled(one))
    return [*words, *seen.missing, "--out", str(out)]


def _option(name: str, value: str) -> list[str]:
    """An option and its value: in one word where the value would be taken for an option."""
    return [f"{name}={value}"] if value.startswith("-") else [name, value]


def _spelled(value: object) -> str:
    if isinstance(value, float):
        return f"{value:.12g}"
    if isinstance(value, datetime):
        return value.isoformat()
    if isinstance(value, tzinfo):
        name = str(value)
        return name.removeprefix("UTC") or "+00:00" if name.startswith("UTC") else name
    return str(value)
