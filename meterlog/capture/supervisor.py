"""One thread a meter: opens it, reads it, notices when it has gone, and opens it again."""

from __future__ import annotations

import threading
import time
from collections import deque
from statistics import median
from typing import Protocol

from meterlog.capture.meters import MeterSetup
from meterlog.driver import Connection, Traffic, driver_errors
from meterlog.errors import LinkError, LinkLost, MeterlogError, NoFrameFits, bytes_in_words
from meterlog.reading import Reading

READ_TIMEOUT_S = 0.25
"""Longest wait of a read, s; the end of a recording may wait as long (a guess)."""

STOOD_STILL_S = 1.0
"""A read that comes back so much later than it was asked to means that this program did not run meanwhile: above what a
busy computer does to a thread. A guess."""

FIRST_DATA_S = 10.0
"""Longest tolerated silence after opening, s: some meters start their output by a key of their own (a guess)."""

WATCHDOG_INTERVALS = 8.0
"""Silence that counts as a lost link, in intervals of the meter (a guess); never less than its driver's
`least_silence_s`."""

LEARNED_FROM = 15
"""The interval of a meter that declares none is the median of so many last ones: an outage does not change it."""

FIRST_PAUSE_S, LONGEST_PAUSE_S = 0.2, 5.0
"""Pause before opening again, s (guesses): the first, doubled by each failure, and the longest."""


MOST_UNTAUGHT = 20
"""Frames that were never taught, of one meter, that are kept; a choice."""


class Listener(Protocol):
    """Whom a supervisor tells. Called from its thread, one call at a time."""

    def readings(self, meter: int, readings: list[Reading]) -> None:
        """Readings came."""
        ...

    def link(self, meter: int, up: bool, cause: str, ago_s: float = 0.0) -> None:
        """The meter gives readings from now (or from `ago_s` before now) on, or no longer."""
        ...

    def never_taught(self, meter: int, frame: bytes, question: str) -> None:
        """A meter showed something that its taught profile does not know, or that a person must tell: `question`."""
        ...

    def waiting_for(self, meter: int, text: str) -> None:
        """The meter is open and has not said anything yet."""
        ...

    def ended(self, meter: int, error: MeterlogError | None) -> None:
        """Nothing more will come: its source has come to its end, or something that another opening cannot mend."""
        ...


class Supervisor:
    """Keeps one meter's readings coming."""

    def __init__(self, number: int, setup: MeterSetup, listener: Listener, *, patient: bool = False) -> None:
        """A supervisor for the meter of that number; `start` begins it. A patient one waits for a meter to appear."""
        self._number, self._setup, self._listener = number, setup, listener
        self._patient = patient
        self._stop = threading.Event()
        self._opened = threading.Event()
        self._open_failure: MeterlogError | None = None
        self._thread = threading.Thread(target=self._run, name=self._setup.name, daemon=True)
        self._up = False
        self._heard_s: float | None = None  # when the last readings came, by the host's clock
        self._intervals_s: deque[float] = deque(maxlen=LEARNED_FROM)
        self._count = 0
        self._pause_s = FIRST_PAUSE_S
        self._closed_traffic = Traffic()
        self._connection: Connection | None = None
        self._refused = 0
        self._untaught: set[bytes] = set()

    @property
    def name(self) -> str:
        """The meter's name."""
        return self._setup.name

    @property
    def up(self) -> bool:
        """True while it gives readings."""
        return self._up

    @property
    def traffic(self) -> Traffic:
        """The traffic of all its connections."""
        total, connection = self._closed_traffic, self._connection
        return total if connection is None else _sum(total, connection.traffic)

    def start(self) -> None:
        """Begin; `wait_opened` tells how the first opening went."""
        self._thread.start()

    def wait_opened(self) -> MeterlogError | None:
        """Wait for the first opening; what went wrong with it."""
        self._opened.wait()
        return self._open_failure

    def stop(self) -> None:
        """Ask it to end."""
        self._stop.set()

    def join(self, timeout_s: float) -> None:
        """Wait for its end. A meter that hangs in its opening is left to itself."""
        self._thread.join(timeout_s)

    def _run(self) -> None:
        error: MeterlogError | None = None
        try:
            with driver_errors(self._setup.address.scheme, f"failed, so nothing more comes from {self.name}"):
                self._supervise()
        except MeterlogError as failure:
            error = failure
        finally:
            self._up = False
            first = not self._opened.is_set()
            if first:
                self._open_failure = error
                self._opened.set()
        if not first:
            self._listener.ended(self._number, error)

    def _supervise(self) -> None:
        connection = self._first_opening()
        self._opened.set()
        while connection is not None:
            self._connection = connection
            try:
                if self._read(connection):
                    return
            except NoFrameFits as error:
                if not self._count:
                    raise
                self._down(str(error))
            except LinkError as error:
                self._down(str(error))
            finally:
                self._connection = None
                try:
                    self._closed_traffic = _sum(self._closed_traffic, connection.traffic)
                finally:
                    connection.close()
            connection = self._reopen()

    def _first_opening(self) -> Connection | None:
        """Open the meter; where it is not there yet and the supervisor is patient, wait for it."""
        try:
            return self._setup.open()
        except LinkError as error:
            if not self._patient:
                raise
            self._listener.waiting_for(self._number, f"{error}; waiting for it")
            self._opened.set()
            return self._reopen()

    def _read(self, connection: Connection) -> bool:
        """Read until the end is asked for or the source has come to its end (True)."""
        heard_s = now_s = time.monotonic()
        while not self._stop.is_set():
            before_s = now_s
            readings = connection.read(READ_TIMEOUT_S)
            now_s = time.monotonic()
            if readings is None:
                return True
            if now_s - before_s > READ_TIMEOUT_S + STOOD_STILL_S and self._up:
                self._stood_still(now_s - before_s)
                heard_s = now_s  # what the meter sent meanwhile may have been lost, the meter itself was not
            if self._never_taught(connection.traffic):
                heard_s = now_s  # the meter is there, though nothing that it shows can be read
            if readings:
                heard_s = now_s
                self._heard(readings, now_s)
            elif now_s - heard_s > self._patience_s:
                self._give_up(connection, now_s - heard_s)
                heard_s = now_s
        return True

    def _never_taught(self, traffic: Traffic) -> bool:
        """Tell whether frames came that show what was never taught, and pass on each that is new."""
        came = traffic.frames_refused != self._refused and bool(traffic.never_taught)
        self._refused = traffic.frames_refused
        if came and traffic.never_taught not in self._untaught and len(self._untaught) < MOST_UNTAUGHT:
            self._untaught.add(traffic.never_taught)
            self._listener.never_taught(self._number, traffic.never_taught, traffic.question)
        return came

    def _stood_still(self, still_s: float) -> None:
        """Say that this program did not run for a while: what came meanwhile waited, and some of it may be lost."""
        self._listener.link(self._number, False, "this program stood still", still_s)
        self._listener.link(self._number, True, f"it runs again after {still_s:.1f} s")

    def _heard(self, readings: list[Reading], now_s: float) -> None:
        if not self._up:
            silent_s = now_s - self._heard_s if self._heard_s is not None else 0.0
            self._up = True
            self._pause_s = FIRST_PAUSE_S
            self._listener.link(
                self._number, True, f"readings again after {silent_s:.1f} s" if silent_s else "first reading"
            )
        if self._heard_s is not None:
            self._intervals_s.append(now_s - self._heard_s)
        self._heard_s = now_s
        self._count += len(readings)
        self._listener.readings(self._number, readings)

    @property
    def _patience_s(self) -> float:
        if self._setup.watchdog_s == 0.0:
            return float("inf")
        if self._setup.watchdog_s is not None:
            return self._setup.watchdog_s
        declared_s = self._setup.interval_s
        if self._heard_s is None or not (declared_s or self._intervals_s):
            return max(FIRST_DATA_S, WATCHDOG_INTERVALS * (declared_s or 0.0))
        return max(self._setup.least_silence_s, WATCHDOG_INTERVALS * (declared_s or median(self._intervals_s)))

    def _give_up(self, connection: Connection, silent_s: float) -> None:
        """The data watchdog: what a silent death of the link looks like.

        Raises:
            LinkLost: always, so that the meter is opened again.
        """
        if self._heard_s is None:
            seen = connection.traffic.first_bytes
            came = f"bytes come but no frame yet (first {bytes_in_words(seen)})" if seen else "nothing comes yet"
            self._listener.waiting_for(self._number, f"{came}; is the meter on, and its data output switched on?")
        raise LinkLost(f"no frame from {self.name} for {silent_s:.1f} s", self.name)

    def _down(self, cause: str) -> None:
        if self._up:
            self._up = False
            self._listener.link(self._number, False, cause)

    def _reopen(self) -> Connection | None:
        """Open the meter again, however long that takes; None when the end is asked for."""
        while not self._stop.wait(self._pause_s):
            self._pause_s = min(2 * self._pause_s, LONGEST_PAUSE_S)
            try:
                return self._setup.open()
            except LinkError:
                continue  # absent or busy still: that it is down has been said
        return None


def _sum(a: Traffic, b: Traffic) -> Traffic:
    return Traffic(
        a.frames_good + b.frames_good,
        a.frames_refused + b.frames_refused,
        a.frames_asked + b.frames_asked,
        a.frames_broken + b.frames_broken,
        a.bytes_discarded + b.bytes_discarded,
        a.first_bytes or b.first_bytes,
        b.never_taught or a.never_taught,
        b.question or a.question,
    )
