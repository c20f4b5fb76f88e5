"""Makes a session of tables from elsewhere, or one of each part where their clock began again."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path

from meterlog.errors import TableError, UsageError
from meterlog.exchange.new_session import NewSession
from meterlog.exchange.table.clock import Clock, Restart
from meterlog.exchange.table.import_plan import ImportPlan
from meterlog.exchange.table.known_cells import KnownCells
from meterlog.exchange.table.left_out import ask_about_left_out
from meterlog.exchange.table.loader import Loader
from meterlog.exchange.table.options import RESTARTS
from meterlog.exchange.table.question import Question
from meterlog.exchange.table.remarks import Remarks
from meterlog.exchange.table.row_reader import Ordered, RowReader
from meterlog.exchange.table.rows import Rows
from meterlog.exchange.table.session_start import SessionStart, session_start
from meterlog.exchange.table.text_rows import DAMAGED, NO_ROWS
from meterlog.exchange.table.time_text import DAY_S
from meterlog.exchange.table.zone import HOUR_S, missing_hour_question
from meterlog.session.writer import SessionWriter

_SHOWN_RESTARTS = 3


@dataclass(slots=True)
class Made:
    """A session that was made.

    Attributes:
        path: of it.
        readings: of each channel, by its label.
        markers: how many.
    """

    path: Path
    readings: dict[str, int]
    markers: int


@dataclass(slots=True)
class Imported:
    """The result of an import.

    Attributes:
        sessions: what was made.
        notes: what was taken from elsewhere than the table.
        rows: how many rows the table has.
        kept: how many of them are in the sessions.
    """

    sessions: list[Made]
    notes: list[str]
    rows: int
    kept: int


def import_table(plan: ImportPlan, out: Path, remarks: Remarks, details: Mapping[str, str]) -> Imported:
    """Write the session of one file; see `import_tables`."""
    return import_tables([plan], out, [remarks], details)


def import_tables(
    plans: Sequence[ImportPlan], out: Path, remarks: Sequence[Remarks], details: Mapping[str, str]
) -> Imported:
    """Write the session, or `out` with -1, -2, ... in its name for the parts of a clock that began again.

    Args:
        plans: of each file; the options of the first say how they are joined.
        out: the session.
        remarks: what is left out of each file.
        details: of the session.

    Raises:
        TableError: not one reading could be read, or the files do not go together.
        Question: the clock began again, and nothing says what is to become of it.
        SessionWriteFailed: `out` exists or cannot be written; nothing is left behind then.
    """
    restarts = plans[0].options.restarts
    if restarts == "parts":
        _check_clock(plans)
    with ExitStack() as stack:
        sessions = _Sessions(plans, out, details, stack)
        found: list[Restart] = []
        rows = 0
        for reader, plan in _readers(plans, remarks):
            for ordered in reader.rows():
                found = reader.restarts
                if restarts == "stop" and found:
                    continue  # nothing will be made: only where else it began again is of interest
                sessions.load(plan, reader, ordered)
            reader.remarks.add_all("lines of text after the last row, left out", [line for line, _ in reader.texts])
            of_file = reader.seen + reader.remarks.total(DAMAGED) - reader.remarks.total(NO_ROWS)
            rows += of_file
            if restarts == "stop" and found:
                raise restart_question(found, out.stem, plan)
            if step := reader.missing_hour:
                raise missing_hour_question(step, dated=plan.is_local)
            ask_about_left_out(plan.options, reader.remarks, of_file)
        return Imported(sessions.keep(remarks), sessions.notes, rows, sessions.kept)


def _readers(plans: Sequence[ImportPlan], remarks: Sequence[Remarks]) -> Iterator[tuple[RowReader, ImportPlan]]:
    """A reader for each file, which goes on with the clocks of the one before where the files follow one another."""
    clocks: dict[str, Clock] = {}
    for plan, said in zip(plans, remarks, strict=True):
        reader = RowReader(plan, said, clocks if plan.options.join == "end" else None)
        yield reader, plan


def _check_clock(plans: Sequence[ImportPlan]) -> None:
    """Read all times once, so that a column that is no clock is refused before a hundred sessions are made of it."""
    for reader, _ in _readers(plans, [Remarks() for _ in plans]):
        for _ in reader.rows():
            pass


def restart_question(restarts: Sequence[Restart], name: str, plan: ImportPlan) -> Question:
    """Return what is asked where a clock began again, its times shown as the file has them."""
    shown = ", ".join(
        f"in line {restart.line} from {plan.spelled(restart.from_s)} to {plan.spelled(restart.to_s)}"
        for restart in restarts[:_SHOWN_RESTARTS]
    )
    midnight = (
        "; where the date was not advanced at midnight, give the clock's column alone with --time, and --date"
        if any(_missed_midnight(restart) for restart in restarts) and plan.is_local and not plan.time.daily
        else ""
    )
    and_date = "" if plan.is_local else ", and the day of the first row, such as --date 2024-10-26"
    put_back = (
        f"; where the clock was put back that night, name its zone, such as --zone Europe/Berlin{and_date}"
        if plan.may_skip_hours and any(_put_back(restart) for restart in restarts)
        else ""
    )
    more = f" and {len(restarts) - _SHOWN_RESTARTS} times more" if len(restarts) > _SHOWN_RESTARTS else ""
    return Question(
        f"the time goes back {shown}{more}, as where a logger was switched on again: say what becomes of the"
        f" {len(restarts) + 1} parts, --restarts parts (sessions '{name}-1', '{name}-2', ...) or --restarts offset"
        f" (one session, with a gap of unknown length before each){midnight}{put_back}",
        "restarts",
        RESTARTS[1:],
    )


def _missed_midnight(restart: Restart) -> bool:
    return DAY_S / 2 < restart.from_s - restart.to_s <= DAY_S and restart.to_s % DAY_S < DAY_S / 2


def _put_back(restart: Restart) -> bool:
    return restart.from_s - restart.to_s <= HOUR_S


class _Sessions:
    """The sessions that are made, one for each part of the clock."""

    def __init__(self, plans: Sequence[ImportPlan], out: Path, details: Mapping[str, str], stack: ExitStack) -> None:
        self._plans, self._out, self._details, self._stack = plans, out, details, stack
        self._known = {id(plan): [KnownCells(column) for column in plan.values] for plan in plans}
        self._made: list[tuple[NewSession, SessionWriter, dict[int, Loader]]] = []
        self._part = -1
        self._start: SessionStart | None = None
        self.notes: list[str] = []
        if plans[0].options.join == "time":
            _check_same_time(plans)

    def load(self, plan: ImportPlan, reader: RowReader, ordered: Ordered) -> None:
        """Add rows to the session of their part."""
        _, begins, rows, error_s = stretch = ordered.stretch
        part = stretch.part if plan.options.restarts == "parts" else 0
        if part != self._part:
            self._begin(part, plan, float(rows.time_s[0]))
        assert self._start is not None
        loader = self._loader(plan, reader.remarks)
        placed = Rows(rows.block, rows.time_s - self._start.zero_s)
        if begins and plan.options.restarts == "offset":
            loader.mark_restart(float(placed.time_s[0]), rows.block.line[0])
        loader.load(placed, error_s, ordered.channel, reader.texts)

    def _begin(self, part: int, plan: ImportPlan, first_s: float) -> None:
        if self._made:
            self._finish()
        self._part = part
        if plan.options.join == "time":
            plan = min(self._plans, key=lambda one: one.begins_s)
            first_s = plan.begins_s
        elif plan.channel_place is not None and not part:
            first_s = min(first_s, plan.begins_s)
        self._start = session_start(plan, first_s)
        self.notes += [note for note in self._start.notes if note not in self.notes]
        new = self._stack.enter_context(NewSession(_numbered(self._out, part + 1)) if part else NewSession(self._out))
        self._made.append((new, new.begin(self._start.started_at, self._details), {}))

    def _loader(self, plan: ImportPlan, remarks: Remarks) -> Loader:
        """Return what fills the session from a file: channels of its own, or those of the file before."""
        _, writer, loaders = self._made[-1]
        if plan.options.join == "time":
            key = self._plans.index(plan)
            stem = plan.source.path.stem if len(self._plans) > 1 and self._labels_repeat() else ""
            if key not in loaders:
                loaders[key] = Loader(plan, writer, remarks, self._known[id(plan)], stem)
            return loaders[key]
        loader = loaders.get(0)
        if loader is None:
            loader = loaders[0] = Loader(plan, writer, remarks, self._known[id(plan)])
        loader.go_on(plan, remarks, self._known[id(plan)])
        return loader

    def _labels_repeat(self) -> bool:
        labels = [column.label for plan in self._plans for column in plan.values]
        return len(set(labels)) < len(labels)

    def _finish(self) -> None:
        for loader in self._made[-1][2].values():
            loader.finish()

    @property
    def _loaders(self) -> list[Loader]:
        return [loader for _, _, loaders in self._made for loader in loaders.values()]

    @property
    def kept(self) -> int:
        """Return how many rows are in them."""
        return sum(loader.kept for loader in self._loaders)

    def keep(self, remarks: Sequence[Remarks]) -> list[Made]:
        """Give all of them their names.

        Raises:
            TableError: there is no reading.
        """
        if not any(count for loader in self._loaders for count in loader.readings.values()):
            reasons = "; ".join(sentence for one in remarks for sentence in one.sentences())
            path = self._plans[0].source.path
            raise TableError(f"'{path}' has no usable reading: {reasons or 'there are no rows below the header'}")
        made = []
        self._finish()
        for k, (new, _, loaders) in enumerate(self._made, 1):
            path = _numbered(self._out, k) if len(self._made) > 1 else self._out
            new.keep(path)
            readings = {label: n for loader in loaders.values() for label, n in loader.readings.items()}
            made.append(Made(path, readings, sum(loader.markers for loader in loaders.values())))
        return made


def _check_same_time(plans: Sequence[ImportPlan]) -> None:
    """Look whether the files can have been recorded at the same time.

    Raises:
        TableError: some have dates and some have none.
        UsageError: they would be cut into parts.
    """
    if plans[0].options.restarts == "parts":
        raise UsageError("--join time makes one session, so it does not go with --restarts parts")
    dated = [plan.source.path.name for plan in plans if plan.time.absolute]
    if 0 < len(dated) < len(plans):
        bare = next(plan.source.path.name for plan in plans if not plan.time.absolute)
        raise TableError(
            f"the times of '{dated[0]}' have a date and those of '{bare}' have none, so nothing says how they lie to"
            " each other: import them into sessions of their own"
        )


def _numbered(path: Path, number: int) -> Path:
    return path.with_name(f"{path.stem}-{number}{path.suffix}")
