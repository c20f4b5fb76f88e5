"""Makes a session of a table from elsewhere, or one of each part where its clock began again."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path

from meterlog.errors import TableError
from meterlog.exchange.new_session import NewSession
from meterlog.exchange.table.clock import Restart
from meterlog.exchange.table.import_plan import ImportPlan
from meterlog.exchange.table.known_cells import KnownCells
from meterlog.exchange.table.loader import Loader
from meterlog.exchange.table.options import RESTARTS
from meterlog.exchange.table.question import Question
from meterlog.exchange.table.remarks import Remarks
from meterlog.exchange.table.row_reader import Ordered, RowReader
from meterlog.exchange.table.rows import Rows
from meterlog.exchange.table.session_start import SessionStart, session_start
from meterlog.exchange.table.text_rows import DAMAGED, NO_ROWS, Texts

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
    """Write the session, or `out` with -1, -2, ... in its name for the parts of a clock that began again.

    Raises:
        TableError: not one reading could be read.
        Question: the clock began again, and nothing says what is to become of it.
        SessionWriteFailed: `out` exists or cannot be written; nothing is left behind then.
    """
    if plan.options.restarts == "parts":
        _check_clock(plan)
    reader = RowReader(plan, remarks)
    with ExitStack() as stack:
        sessions = _Sessions(plan, out, details, remarks, stack)
        for ordered in reader.rows():
            if plan.options.restarts == "stop" and reader.restarts:
                continue  # nothing will be made: only where else it began again is of interest
            sessions.load(ordered, reader.texts)
        if plan.options.restarts == "stop" and reader.restarts:
            raise restart_question(reader.restarts, out.stem)
        remarks.add_all("lines of text after the last row, left out", [line for line, _ in reader.texts])
        made = sessions.keep()
        rows = reader.seen + remarks.total(DAMAGED) - remarks.total(NO_ROWS)
        return Imported(made, sessions.notes, rows, sessions.kept)


def _check_clock(plan: ImportPlan) -> None:
    """Read all times once, so that a column that is no clock is refused before a hundred sessions are made of it."""
    for _ in RowReader(plan, Remarks()).rows():
        pass


def restart_question(restarts: Sequence[Restart], name: str) -> Question:
    """What is asked where a clock began again."""
    shown = ", ".join(f"in line {r.line} from {r.from_s:.10g} s to {r.to_s:.10g} s" for r in restarts[:_SHOWN_RESTARTS])
    more = f" and {len(restarts) - _SHOWN_RESTARTS} times more" if len(restarts) > _SHOWN_RESTARTS else ""
    return Question(
        f"the time goes back {shown}{more}, as where a logger was switched on again: say what becomes of the"
        f" {len(restarts) + 1} parts, --restarts parts (sessions '{name}-1', '{name}-2', ...) or --restarts offset"
        " (one session, with a gap of unknown length before each)",
        "restarts",
        RESTARTS[1:],
    )


class _Sessions:
    """The sessions that are made, one for each part of the file."""

    def __init__(
        self, plan: ImportPlan, out: Path, details: Mapping[str, str], remarks: Remarks, stack: ExitStack
    ) -> None:
        self._plan, self._out, self._details, self._remarks, self._stack = plan, out, details, remarks, stack
        self._known = [KnownCells(column) for column in plan.values]
        self._made: list[tuple[NewSession, Loader]] = []
        self._part = -1
        self._start: SessionStart | None = None
        self.notes: list[str] = []

    def load(self, ordered: Ordered, texts: Texts) -> None:
        """Add rows to the session of their part."""
        _, begins, rows, error_s = stretch = ordered.stretch
        part = stretch.part if self._plan.options.restarts == "parts" else 0
        if part != self._part:
            self._begin(part, float(rows.time_s[0]))
        assert self._start is not None
        loader = self._made[-1][1]
        placed = Rows(rows.block, rows.time_s - self._start.zero_s)
        if begins and self._plan.options.restarts == "offset":
            loader.mark_restart(float(placed.time_s[0]), rows.block.line[0])
        loader.load(placed, error_s, ordered.channel, texts)

    def _begin(self, part: int, first_s: float) -> None:
        if self._made:
            self._made[-1][1].finish()
        self._part = part
        self._start = session_start(self._plan, first_s if part else self._first_s(first_s))
        self.notes += [note for note in self._start.notes if note not in self.notes]
        new = self._stack.enter_context(NewSession(_numbered(self._out, part + 1)) if part else NewSession(self._out))
        writer = new.begin(self._start.started_at, self._details)
        self._made.append((new, Loader(self._plan, writer, self._remarks, self._known)))

    def _first_s(self, first_s: float) -> float:
        """The earliest time of any channel, where each has its own rows."""
        return min(first_s, self._plan.first_s) if self._plan.channel_place is not None else first_s

    @property
    def kept(self) -> int:
        """How many rows are in them."""
        return sum(loader.kept for _, loader in self._made)

    def keep(self) -> list[Made]:
        """Give all of them their names.

        Raises:
            TableError: there is no reading.
        """
        if not any(count for _, loader in self._made for count in loader.readings.values()):
            reasons = "; ".join(self._remarks.sentences()) or "there are no rows below the header"
            raise TableError(f"'{self._plan.source.path}' has no usable reading: {reasons}")
        made = []
        for k, (new, loader) in enumerate(self._made, 1):
            loader.finish()
            path = _numbered(self._out, k) if len(self._made) > 1 else self._out
            new.keep(path)
            made.append(Made(path, loader.readings, loader.markers))
        return made


def _numbered(path: Path, number: int) -> Path:
    return path.with_name(f"{path.stem}-{number}{path.suffix}")
