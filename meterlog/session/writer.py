"""Writes a session while it is recorded: hands everything to a commit thread, so no disk ever delays a reading."""

from __future__ import annotations

import threading
import time
from collections.abc import Mapping, Sequence
from datetime import datetime
from itertools import chain
from pathlib import Path
from types import TracebackType
from typing import Any

from meterlog.display_check import fixed_error_key
from meterlog.errors import SessionBusy, SessionError, SessionWriteFailed, UsageError
from meterlog.reading import Accuracy, Quantity, Reading
from meterlog.series import Series
from meterlog.session.cells import MOST_CHANNELS, MOST_ROWS
from meterlog.session.commits import Batch, Bulk, Commits, Mark, Operation, Statement
from meterlog.session.database import check_texts, write_errors
from meterlog.session.lock import RecorderLock
from meterlog.session.model import USUAL_ACCURACY, Marker
from meterlog.session.schema import CHUNK_READINGS

COMMIT_INTERVAL_S = 0.2
"""Time between commits. With the commit itself (0.2 ms, seldom some 100 ms) a crash loses less than half a second."""

_BULK_READINGS = 32 * CHUNK_READINGS  # one transaction's worth of `append_series`


class SessionWriter:
    """The one recorder of a session. Every method may be called from any thread, and none waits for the disk but
    `append_series`, `flush` and `close`.

    Times of readings are on the monotonic clock; every other time is counted from the session's start.

    Attributes:
        path: the session file.
        details: what was entered when it was made.
        monotonic_start_s: the session's time 0 on `time.monotonic()`, s.
        started_at: the same moment on the wall clock, with its offset from UTC.
    """

    def __init__(
        self,
        path: Path,
        lock: RecorderLock,
        commits: Commits,
        started_at: datetime,
        start_s: float,
        details: Mapping[str, str],
        save_s: float,
    ) -> None:
        """Use `create`."""
        self.path, self.started_at, self.monotonic_start_s, self.details = path, started_at, start_s, details
        self._lock, self._commits, self._save_s = lock, commits, save_s
        self._failure: SessionError | None = None
        self._queue: list[Operation] = []
        self._from_elsewhere: list[Marker] = []
        self._given = self._written = 0  # operations
        self._channels: set[int] = set()
        self._markers = self._link_changes = 0
        self._suspended_s = 0.0
        self._closing = self._hurry = False
        self._changed = threading.Condition()
        self._thread = threading.Thread(target=self._run, name=f"commits to {path.name}", daemon=True)
        self._thread.start()

    @classmethod
    def create(
        cls,
        path: Path | str,
        *,
        monotonic_start_s: float | None = None,
        started_at: datetime | None = None,
        details: Mapping[str, str] | None = None,
        save_s: float = COMMIT_INTERVAL_S,
    ) -> SessionWriter:
        """Make a new session file and begin it.

        Args:
            path: must not exist; its folder must.
            monotonic_start_s: the session's time 0 on `time.monotonic()`; now when not given.
            started_at: the same moment on the wall clock, aware; now when not given.
            details: first details, as with `set_detail`.
            save_s: interval at which what came is put on the disk, s; a power cut loses as much.

        Raises:
            SessionBusy: another recorder is writing this very file.
            SessionWriteFailed: the file exists, or cannot be made there.
            UsageError: a detail is no text in UTF-8; so say `add_channel`, `add_marker` and `set_detail` too.
            ValueError: `started_at` is naive.
        """
        path = Path(path)
        start_s = time.monotonic() if monotonic_start_s is None else monotonic_start_s
        start = datetime.now().astimezone() if started_at is None else started_at
        if start.utcoffset() is None:
            raise ValueError("started_at must carry its offset from UTC")
        check_texts(chain(*(details or {}).items()))
        with write_errors(path):
            lock = RecorderLock(path)
        try:
            commits = Commits(path, start, start_s, details or {})
        except BaseException:
            lock.release()
            raise
        lock.say({})
        return cls(path, lock, commits, start, start_s, dict(details or {}), save_s)

    @property
    def failure(self) -> SessionError | None:
        """Say why the file cannot be written on; None while all is well."""
        return self._failure

    @property
    def times_held(self) -> int:
        """Readings that came with a time before their predecessor's on the channel, and were given that one's."""
        return self._commits.times_held

    @property
    def elapsed_s(self) -> float:
        """Time since the session's start, s."""
        return time.monotonic() + self._suspended_s - self.monotonic_start_s

    def add_suspension(self, seconds: float) -> None:
        """The monotonic clock stood still so long: what looks at the file from elsewhere counts it in from now on."""
        self._suspended_s += seconds
        start_s = self.monotonic_start_s - self._suspended_s
        self._give(Statement("UPDATE recording SET monotonic_start_s = ?", (start_s,)))

    def correct_start(self, started_at: datetime) -> None:
        """The wall clock was set: the session began at this moment; no time in it changes."""
        self.started_at = started_at
        self._give(Statement("UPDATE recording SET started_at = ?", (started_at.isoformat(),)))

    def add_channel(
        self,
        label: str,
        quantity: Quantity,
        *,
        point: str = "",
        address: str = "",
        driver: str = "",
        accuracy: Accuracy = USUAL_ACCURACY,
        interval_s: float | None = None,
        number: int | None = None,
    ) -> int:
        """Begin a channel.

        Args:
            number: the channel's number, which must be free; the one after the highest when not given.

        Returns:
            Its number.

        Raises:
            ValueError: there is a channel of that number.
        """
        sql = "INSERT INTO channel VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, 0)"
        with self._changed:
            number = max(self._channels, default=0) + 1 if number is None else number
            if number in self._channels:
                raise ValueError(f"{self.path} has a channel {number} already")
            if len(self._channels) == MOST_CHANNELS:
                raise UsageError(f"a session holds at most {MOST_CHANNELS} channels")
            values = (number, label, str(quantity), quantity.unit, point, address, driver, *accuracy[:2], interval_s)
            self._give(Statement(sql, values))
            if accuracy.fixed:
                self.set_detail(fixed_error_key(number), repr(accuracy.fixed))
            self._channels.add(number)
        return number

    def append(self, channel: int, readings: Sequence[Reading]) -> None:
        """Add readings to a channel, in time order; their times are on the monotonic clock.

        Raises:
            SessionWriteFailed: an earlier commit failed.
            ValueError: there is no such channel.
        """
        self._check_channel(channel)
        if readings:
            self._give(Batch(channel, tuple(readings)))

    def append_series(self, channel: int, series: Series) -> None:
        """Add many readings at once; their times are the session's own.

        Waits while an earlier part is still on its way to the disk, so that memory stays bounded.

        Raises:
            SessionWriteFailed: they could not be written.
            ValueError: there is no such channel.
        """
        self._check_channel(channel)
        for i in range(0, len(series), _BULK_READINGS):
            self._give(Bulk(channel, series[i : i + _BULK_READINGS]))
            self._wait_written(behind=1)

    def _check_channel(self, channel: int) -> None:
        if channel not in self._channels:
            raise ValueError(f"channel {channel} was never added to {self.path}")

    def add_marker(self, time_s: float, name: str, note: str = "", by: str = "person") -> None:
        """Set a marker, at `time_s` from the session's start.

        An armed capture that fires for months sets 100,000, and no more.
        """
        self._markers += 1
        if self._markers > MOST_ROWS:
            return
        self._give(Mark(time_s, name, note, by))

    def markers_from_elsewhere(self) -> list[Marker]:
        """The markers that other processes set in the file since the last call: the page, or `meterlog mark`.

        Each is told once, at most about a commit's interval after it was set.
        """
        with self._changed:
            told, self._from_elsewhere = self._from_elsewhere, []
        return told

    def add_link_change(self, time_s: float, meter: str, up: bool, cause: str, channel: int | None = None) -> None:
        """Note that the way to a meter came up or went down, at `time_s` from the session's start.

        A link that comes and goes for days is noted 100,000 times, and no more.
        """
        self._link_changes += 1
        if self._link_changes > MOST_ROWS:
            return
        sql = "INSERT INTO link_change (time_us, channel, meter, up, cause) VALUES (?, ?, ?, ?, ?)"
        self._give(Statement(sql, (round(time_s * 1e6), channel, meter, int(up), cause)))

    def set_rejected(self, channel: int, total: int) -> None:
        """Note how many frames of a channel's meter were rejected so far.

        Raises:
            ValueError: there is no such channel.
        """
        self._check_channel(channel)
        self._give(Statement("UPDATE channel SET rejected = ? WHERE number = ?", (total, channel)))

    def set_detail(self, key: str, value: str) -> None:
        """Note something about the case: `vehicle`, `complaint`, `point`, ..."""
        self._give(Statement("INSERT OR REPLACE INTO detail VALUES (?, ?)", (key, value)))

    def say(self, said: Mapping[str, Any]) -> None:
        """Let others see something that does not belong into the session; see `meterlog.session.lock`."""
        self._lock.say(said)

    def flush(self) -> None:
        """Wait until everything given so far is on the disk.

        Raises:
            SessionWriteFailed: it could not be written.
        """
        self._wait_written(behind=0)

    def _wait_written(self, behind: int) -> None:
        """Wait until all but the last `behind` operations are on the disk."""
        with self._changed:
            target = self._given - behind
            self._hurry = True
            self._changed.notify_all()
            self._changed.wait_for(lambda: self._written >= target or self._failure or not self._thread.is_alive())
        self._raise_failure()

    def close(self) -> None:
        """End the recording cleanly: everything sealed, one plain file. Safe to call twice.

        Raises:
            SessionWriteFailed: something could not be written; what was written before stays readable.
        """
        with self._changed:
            first, self._closing = not self._closing, True
            self._changed.notify_all()
        self._thread.join()
        self._lock.release()
        if first:
            self._raise_failure()

    def __enter__(self) -> SessionWriter:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, _: TracebackType | None) -> None:
        try:
            self.close()
        except SessionError:
            if kind is None:  # else the error on its way says more
                raise

    def _give(self, operation: Operation) -> None:
        if isinstance(operation, Statement | Mark):
            check_texts(operation.values if isinstance(operation, Statement) else operation)
        with self._changed:
            self._raise_failure()
            if self._closing:
                raise ValueError(f"the session {self.path} is closed")
            self._queue.append(operation)
            self._given += 1

    def _raise_failure(self) -> None:
        if self._failure is not None:
            raise type(self._failure)(str(self._failure), self._failure.path) from self._failure

    def _run(self) -> None:
        """The commit thread."""
        try:
            while self._commit_round():
                pass
            self._commits.finish()
        except SessionError as error:
            self._fail(error)
        except Exception as error:  # a defect of ours must not look like a healthy recording
            failure = SessionWriteFailed(f"'{self.path}' cannot be written on: {error!r}", str(self.path))
            failure.__cause__ = error
            self._fail(failure)
        finally:
            self._commits.close()

    def _commit_round(self) -> bool:
        """Wait for the next commit's time and commit what is queued; False when closing and nothing is left."""
        with self._changed:
            self._changed.wait_for(lambda: self._closing or self._hurry, self._save_s)
            self._hurry = False
            operations, closing = self._queue[:], self._closing
        from_elsewhere = self._commits.markers_from_elsewhere()
        with self._changed:
            self._from_elsewhere += from_elsewhere
        if not operations:
            self._commits.check_file()
            self._commits.take_in_log()
            return not closing
        if not self._commits.begin():  # another program holds the file: the readings wait in memory
            if closing:
                raise SessionBusy(
                    f"'{self.path}' is held locked by another program: its last readings could not be written",
                    str(self.path),
                )
            return True
        self._commits.put(operations)
        with self._changed:
            del self._queue[: len(operations)]
            self._written += len(operations)
            self._changed.notify_all()
        self._commits.take_in_log()
        return True

    def _fail(self, error: SessionError) -> None:
        with self._changed:
            self._failure = error
            self._queue.clear()
            self._changed.notify_all()
