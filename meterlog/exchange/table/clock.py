"""Puts the rows of one clock in the order of time: midnights counted on, stray times left out, restarts found."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np

from meterlog.errors import TableError
from meterlog.exchange.table.remarks import Remarks
from meterlog.exchange.table.rows import Bools, Floats, Rows
from meterlog.exchange.table.stamps import Stamps
from meterlog.exchange.table.text_rows import BLOCK_ROWS
from meterlog.exchange.table.time_text import DAY_S
from meterlog.exchange.table.zone import HOUR_S, HourStep, LocalTimes

RUN_ROWS = 3
"""So many rows one after another that lie before an earlier one are a clock that began again; fewer are strays. A
guess."""
MOST_STRAYS, STRAY_SHARE = 3, 0.01
"""So many strays, or this share of the rows, may be left out; beyond it the column is no clock."""
MOST_RESTARTS = 100
"""A clock that restarts more often is none. A guess."""
MOST_HOURS = 50
"""So many steps of an hour are looked at for one that clocks skipped. A guess."""
_LAST_RUN_ROWS = 2
"""At the file's end so many are one. A guess."""
_LOOK_AHEAD = RUN_ROWS + 2
_OFFSET_GAP_S, _OFFSET_INTERVALS = 2.0, 10.0
"""The pause that stands for the unknown time until a clock began again: seconds, or so many intervals. A gap is seen
from four intervals and a second on."""
LONGEST_S = 100 * 366 * DAY_S
"""No time lies further from a session's start than a hundred years."""


_WRAP_SHARE = 1e-3
"""A counter that wrapped stands within this share of its length behind 0. A guess: a restart just there is rarer."""


class Restart(NamedTuple):
    """A clock that began again.

    Attributes:
        line: the first row's line number.
        from_s: the last time before it, as the file counts.
        to_s: the first time after it.
    """

    line: int
    from_s: float
    to_s: float


class Stretch(NamedTuple):
    """Rows in order, between two restarts of their clock.

    Attributes:
        part: how often the clock had restarted before.
        begins: whether a restart stands right before the first row.
        rows: with their times on the axis of the file.
        error_s: each time may be wrong by this much, s.
    """

    part: int
    begins: bool
    rows: Rows
    error_s: float


class Clock:
    """The clock of the rows that are fed to it.

    Args:
        daily: whether the times start anew at midnight.
        day_s: the first day, s since 1970, where that is known; else 0.
        wraps_s: after so long the counter of the times begins at 0 again, s.
        joins: whether a restart goes on after the last time, with a gap between.
        stamps: how fine the times are, and whether rows that share one are spread.
        title: the column's, for messages.
        local: turns the times into UTC, where they are those of a zone.

    Attributes:
        restarts: where it began again.
        hours: steps of an hour or a little more, the first ones.
        rows: how many it was fed.
        strays: how many were left out.
    """

    def __init__(
        self,
        *,
        daily: bool,
        joins: bool,
        stamps: Stamps,
        title: str,
        local: LocalTimes | None = None,
        day_s: float = 0.0,
        wraps_s: float = np.inf,
    ) -> None:
        self._daily, self._joins, self._stamps, self._remarks = daily, joins, stamps, Remarks()
        self._local = local
        self.hours: list[HourStep] = []
        self._title = title
        self.restarts: list[Restart] = []
        self.rows = self.strays = 0
        self._waiting: Rows | None = None
        self._last_clock_s: float | None = None
        self._day_s, self._wraps_s = day_s, wraps_s
        self._last_s = -np.inf
        self._offset_s = 0.0
        self._interval_s = 0.0
        self._begins = False

    def feed(self, rows: Rows, remarks: Remarks) -> Iterator[Stretch]:
        """Take further rows, their times as the file has them; give those whose order is settled."""
        self._remarks = remarks
        self.rows += len(rows)
        rows = self._plausible(rows)
        if not len(rows):
            return
        if self._daily:
            rows = Rows(rows.block, self._past_midnights(rows))
        elif self._wraps_s < np.inf:
            rows = Rows(rows.block, self._past_wraps(rows))
        if self._local is not None:
            rows = Rows(rows.block, self._local.utc(rows.time_s))
        rows = self._waiting.before(rows) if self._waiting is not None else rows
        settled = self._settled(rows.time_s)
        self._waiting = rows.part(settled, len(rows))
        yield from self._ordered(rows, settled)

    def finish(self) -> Iterator[Stretch]:
        """Give the rows that waited for later ones.

        Raises:
            TableError: so many were left out that the column is no clock.
        """
        if self._waiting is not None:
            waiting, self._waiting = self._waiting, None
            yield from self._ordered(waiting, len(waiting), ends=True)
        if self.strays > max(MOST_STRAYS, STRAY_SHARE * self.rows):
            raise TableError(
                f"only {self.rows - self.strays} of {self.rows} rows stand in the order of '{self._title}': sort the"
                " table by its times, or give another column with --time"
            )

    def _plausible(self, rows: Rows) -> Rows:
        far = ~(np.abs(rows.time_s) < 2 * LONGEST_S)
        if not far.any():
            return rows
        self._leave_out("rows whose time lies more than a hundred years away, skipped", rows, far)
        return rows.chosen(~far)

    def _past_midnights(self, rows: Rows) -> Floats:
        return self._counted_on(rows, DAY_S, DAY_S / 2, "midnights passed, the clock counted on")

    def _past_wraps(self, rows: Rows) -> Floats:
        reach_s = _WRAP_SHARE * self._wraps_s
        return self._counted_on(rows, self._wraps_s, reach_s, "times at which the counter passed 2^32, counted on")

    def _counted_on(self, rows: Rows, length_s: float, reach_s: float, remark: str) -> Floats:
        """The times of a clock that begins anew after a length: it falls by that, or by up to `reach_s` less."""
        time_s = rows.time_s
        before = time_s[0] if self._last_clock_s is None else self._last_clock_s
        self._last_clock_s = float(time_s[-1])
        step_s = np.diff(time_s, prepend=before, append=time_s[-1])
        # A clock that fell back for one row and then went on did not begin anew: that row is the wrong one.
        passed = (step_s[:-1] < reach_s - length_s) & (step_s[1:] < length_s / 2)
        self._remarks.add_all(remark, rows.lines(passed))
        times = np.cumsum(passed)
        counted: Floats = time_s + self._day_s + times * length_s
        self._day_s += float(times[-1]) * length_s
        return counted

    def _settled(self, time_s: Floats) -> int:
        """Return how many of the rows have enough rows behind them for their order, and their stamp's run, to be
        known."""
        settled = max(len(time_s) - _LOOK_AHEAD, 0)
        if settled and self._stamps.spread:
            changes = np.flatnonzero(np.diff(time_s[: settled + 1]) != 0)
            settled = int(changes[-1]) + 1 if len(changes) else 0
            if len(time_s) - settled > 2 * BLOCK_ROWS:
                raise TableError(
                    f"'{self._title}' stands still for {2 * BLOCK_ROWS} rows: give another column with --time"
                )
        return settled

    def _ordered(self, rows: Rows, settled: int, *, ends: bool = False) -> Iterator[Stretch]:
        """The first `settled` rows, without strays, cut where the clock began again; all there are, where it `ends`."""
        start = 0
        while start < settled:
            rest = rows.part(start, len(rows))
            back, ahead = _strays(rest.time_s, self._last_s)
            run = _first_run(back, ends=ends)
            stop = min(run, settled - start)
            if stop:
                yield from self._kept(rest.part(0, stop), back[:stop], ahead[:stop])
            if run < settled - start:
                self._restart(rest, run)
            start += stop

    def _kept(self, rows: Rows, back: Bools, ahead: Bools) -> Iterator[Stretch]:
        self._leave_out("rows whose time is before an earlier row's, skipped", rows, back)
        self._leave_out("rows whose time is ahead of the rows after them, skipped", rows, ahead)
        good = rows.chosen(~(back | ahead))
        if not len(good):
            return
        step_s = np.diff(good.time_s, prepend=self._last_s)
        self._last_s = float(good.time_s[-1])
        if len(good) > 1:
            self._interval_s = float(np.median(step_s[1:]))
        self._note_hours(good, step_s)
        time_s, error_s = self._stamps.placed(good.time_s)
        begins, self._begins = self._begins, False
        yield Stretch(len(self.restarts), begins, Rows(good.block, time_s + self._offset_s), error_s)

    def _note_hours(self, rows: Rows, step_s: Floats) -> None:
        for i in np.flatnonzero((step_s >= HOUR_S) & (step_s < 2 * HOUR_S))[: MOST_HOURS - len(self.hours)].tolist():
            to_s = float(rows.time_s[i])
            self.hours.append(HourStep(rows.block.line[i], to_s - float(step_s[i]), to_s, self._interval_s))

    def _restart(self, rows: Rows, at: int) -> None:
        to_s = float(rows.time_s[at])
        self.restarts.append(Restart(rows.block.line[at], self._last_s, to_s))
        if len(self.restarts) > MOST_RESTARTS:
            raise TableError(
                f"'{self._title}' goes back more than {MOST_RESTARTS} times, last in line {rows.block.line[at]}, so it"
                " is no clock: give another column with --time"
            )
        if self._joins:
            gap_s = max(_OFFSET_GAP_S, _OFFSET_INTERVALS * self._interval_s)
            self._offset_s += self._last_s + gap_s - to_s
        self._last_s = -np.inf
        self._begins = True

    def _leave_out(self, reason: str, rows: Rows, which: Bools) -> None:
        self.strays += int(np.count_nonzero(which))
        self._remarks.add_all(reason, rows.lines(which))


def _strays(time_s: Floats, last_s: float) -> tuple[Bools, Bools]:
    """Which rows lie before an earlier one, and which single ones lie ahead of the rows after them."""
    if time_s[0] >= last_s and (np.diff(time_s) >= 0).all():
        none = np.zeros(len(time_s), np.bool_)
        return none, none
    before = np.concatenate(([last_s], time_s[:-1]))
    after = np.concatenate((time_s[1:], [np.inf]))
    after_next = np.concatenate((after[1:], [np.inf]))
    ahead = (before <= after) & (after < time_s) & (after <= after_next) & (after_next < time_s)
    reached = np.maximum.accumulate(np.concatenate(([last_s], np.where(ahead, -np.inf, time_s))))[:-1]
    return (time_s < reached) & ~ahead, ahead


def _first_run(back: Bools, *, ends: bool) -> int:
    """Where the first run of rows that lie back begins; the number of rows where there is none.

    No row comes after the last ones that could show that they are strays, so there two are a run already.
    """
    if not back.any():
        return len(back)
    if ends:
        back = np.concatenate((back, np.full(RUN_ROWS - _LAST_RUN_ROWS, back[-1])))
        return min(_first_run(back, ends=False), len(back) - RUN_ROWS + _LAST_RUN_ROWS)
    run = back.copy()
    for k in range(1, RUN_ROWS):
        run[:-k] &= back[k:]
        run[-k:] = False
    starts = np.flatnonzero(run)
    return int(starts[0]) if len(starts) else len(back)
