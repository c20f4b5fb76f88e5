"""The words of the import command; None where the file itself shall say."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, tzinfo

from meterlog.errors import UsageError

RESTARTS = ("stop", "parts", "offset")
"""Says what becomes of a clock that begins again: nothing is made; a session for each part; one session with gaps."""

JOINS = ("time", "end", "pairs")
"""Says how several files become one session: recorded at the same time, or one after another; or, in one file, each
column of values has the times of a column of its own."""


@dataclass(frozen=True, slots=True)
class ImportOptions:
    """See `meterlog import --help`."""

    time: tuple[str, ...]
    value: tuple[str, ...]
    quantity: tuple[str, ...] = ()
    unit: tuple[str, ...] = ()
    label: tuple[str, ...] = ()
    point: tuple[str, ...] = ()
    marker: str | None = None
    state: tuple[str, ...] = ()
    channel: str | None = None
    encoding: str | None = None
    delimiter: str | None = None
    decimal: str | None = None
    sheet: str | None = None
    overload: tuple[str, ...] = ()
    blank: tuple[str, ...] = ()
    number: tuple[str, ...] = ()
    interval: float | None = None
    time_unit: str | None = None
    time_format: str | None = None
    date_order: str | None = None
    clock: str | None = None
    zone: tzinfo | None = None
    started_at: datetime | None = None
    date: date | None = None
    unit_from: str | None = None
    restarts: str = "stop"
    lines: str | None = None
    leave_out: bool = False
    join: str | None = None

    @property
    def columns(self) -> tuple[str, ...]:
        """Every column that is named, in the order times, values, states, marker, channel."""
        single = tuple(name for name in (self.marker, self.channel) if name is not None)
        return (*self.time, *self.value, *self.state, *single)

    def check(self) -> None:
        """Look whether the options fit together.

        Raises:
            UsageError: they do not.
        """
        columns = len(self.value)
        for name in ("quantity", "unit", "label", "point"):
            given = len(getattr(self, name))
            if given not in (0, 1, columns) or (name == "label" and given == 1 < columns):
                raise UsageError(
                    f"--{name} is given {given} times for {columns} value columns: once for each, or once for all"
                )
        if self.channel is not None and columns > 1:
            raise UsageError("with --channel, a file has one column of values: give --value once")
        if not self.time and self.interval is None:
            raise UsageError("give the column of times with --time COL or, where there is none, --interval S")


def nth(given: tuple[str, ...], i: int) -> str | None:
    """Return what an option that is given once for each column, or once for all, says of column `i`."""
    if not given:
        return None
    return given[i] if len(given) > 1 else given[0]
