"""The recorder: takes readings from every meter's thread into the session; used by the command line and the page.

```
writer = SessionWriter.create("pump.sqlite")
recorder = Recorder([meter_setup("status14:/dev/ttyUSB0")], writer, observer=print)
recorder.start()
recorder.wait(20.0)
outcome = recorder.finish()
```
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Sequence

from meterlog.capture.armed_check import unwatched
from meterlog.capture.armed_windows import ArmedWindows
from meterlog.capture.channel_table import ChannelTable
from meterlog.capture.channels import LiveChannel
from meterlog.capture.live_events import LiveEvents
from meterlog.capture.meters import MeterSetup
from meterlog.capture.notices import Detector, Notice, Outcome
from meterlog.capture.raw_files import RawFiles
from meterlog.capture.supervisor import Supervisor
from meterlog.capture.suspension import Suspensions
from meterlog.capture.trigger import ArmedCapture
from meterlog.capture.wall_clock import WallClock
from meterlog.dial import turned_to
from meterlog.driver import Traffic
from meterlog.errors import MeterlogError, SessionError
from meterlog.events import Event
from meterlog.reading import Reading
from meterlog.session import Channel, Marker, SessionWriter
from meterlog.session.model import CAPTURE

LONGEST_END_S = 3.0
"""Longest wait for the meters at the end, s; one that hangs while opening is left behind (a guess)."""


class Recorder:
    """Records meters into a session. `start`, then `wait` or `mark` from any thread, then `finish`."""

    def __init__(
        self,
        meters: Sequence[MeterSetup],
        writer: SessionWriter,
        *,
        armed: ArmedCapture | None = None,
        events_wanted: int | None = None,
        detector: Callable[[Channel], Detector] | None = None,
        observer: Callable[[Notice], None] | None = None,
        raw: bool = False,
        patient: bool = False,
    ) -> None:
        """Nothing is opened yet.

        Args:
            meters: what to record.
            writer: the session; the recorder closes it, and removes the file where nothing was recorded.
            armed: record only round the moments when its condition comes true.
            events_wanted: end by itself after so many captures, or, when not armed, so many events.
            detector: makes the live detector of a channel.
            observer: told of everything but readings, from the meters' threads, so it must be quick.
            raw: keep each meter's raw bytes beside the session, as `NAME.meter1.raw`.
            patient: a meter that is not there yet is waited for, instead of failing the start.

        Raises:
            UsageError: `raw`, and a meter has no bytes.
            SessionWriteFailed: a raw capture cannot be made.
        """
        self._writer, self._observer, self._events_wanted = writer, observer, events_wanted
        self._lock = threading.RLock()
        self._over = threading.Event()
        self._error: MeterlogError | None = None
        self._outcome: Outcome | None = None
        self._newest_s = 0.0
        self._said_shown = False
        self._markers = 0
        self._raw = RawFiles(writer)
        self._meters = [self._raw.tap(number, setup) for number, setup in enumerate(meters)] if raw else list(meters)
        self._table = ChannelTable(self._meters, writer)
        self._events = LiveEvents(detector)
        self._suspensions, self._clock = Suspensions(), WallClock(writer)
        self._windows = ArmedWindows(armed, events_wanted, writer.monotonic_start_s, self._announce) if armed else None
        self._supervisors = [
            Supervisor(number, setup, self, patient=patient) for number, setup in enumerate(self._meters)
        ]
        self._living = set(range(len(self._meters)))
        self._failed: dict[int, MeterlogError] = {}

    def start(self) -> None:
        """Open every meter, all at once.

        Raises:
            MeterlogError: the first opening of one failed; all is closed again and no file is left.
        """
        if self._windows is not None:
            self._windows.wait(self._writer.elapsed_s)
        for supervisor in self._supervisors:
            supervisor.start()
        for supervisor in self._supervisors:
            failure = supervisor.wait_opened()
            if failure is not None:
                self.discard()
                raise failure

    def discard(self) -> None:
        """End, and leave no file."""
        self.finish()
        self._remove()

    def _remove(self) -> None:
        path = self._writer.path
        for file in (path, path.with_name(f"{path.name}-wal"), path.with_name(f"{path.name}-shm")):
            file.unlink(missing_ok=True)

    @property
    def channels(self) -> dict[int, LiveChannel]:
        """Every channel's latest figures, by number."""
        return self._table.live

    @property
    def elapsed_s(self) -> float:
        """Time since the session's start, s; by the readings where a replay runs ahead of the clock."""
        return max(self._writer.elapsed_s, self._newest_s - self._writer.monotonic_start_s)

    @property
    def captures(self) -> int:
        """The number of times an armed capture's condition came true."""
        return self._windows.fired if self._windows is not None else 0

    @property
    def waiting(self) -> bool:
        """True while an armed capture waits for its condition."""
        return self._windows is not None and self._windows.waiting

    @property
    def silent(self) -> set[int]:
        """The meters, by number, that give no readings now."""
        return {number for number, supervisor in enumerate(self._supervisors) if not supervisor.up}

    @property
    def traffic(self) -> list[Traffic]:
        """The traffic of each meter's link."""
        return [supervisor.traffic for supervisor in self._supervisors]

    def mark(self, name: str, note: str = "", time_s: float | None = None) -> None:
        """Set a marker, now or at `time_s` from the session's start. An armed capture keeps what is round it.

        Raises:
            SessionWriteFailed: the session cannot be written on.
        """
        with self._lock:
            if self._over.is_set():
                return
            at_s = self.elapsed_s if time_s is None else time_s
            self._add_marker(at_s, name, note, "person")
            self._keep_round(at_s)
        self._tell(Notice("marker", at_s, f"{name}: {note}" if note else name))

    def stop(self) -> None:
        """Ask for the end; from any thread or signal handler."""
        self._over.set()

    def wait(self, timeout_s: float) -> bool:
        """Wait for the end; True when the recording is over (asked for, finished by itself, or failed)."""
        with self._lock:
            if self._writer.failure is not None:
                self._fail(self._writer.failure)
            else:
                self._heed_markers_from_elsewhere()
            self._note_suspension()
            self._note_clock()
            self._close_window(self._writer.elapsed_s)
            self._say_shown()
        return self._over.wait(timeout_s)

    def finish(self) -> Outcome:
        """End the recording: close the meters, complete the session and say what became of it.

        A second call says the same again.
        """
        if self._outcome is not None:
            return self._outcome
        self._over.set()
        for supervisor in self._supervisors:
            supervisor.stop()
        give_up_s = time.monotonic() + LONGEST_END_S
        for supervisor in self._supervisors:
            supervisor.join(max(0.0, give_up_s - time.monotonic()))
        with self._lock:
            try:
                if self._windows is not None and not self._table.kept:
                    self._keep(self._windows.rest())
                for number, event in self._events.finish():
                    self._tell_event(number, event)
                for meter, traffic in enumerate(self.traffic):
                    self._table.add_rejected(meter, traffic.frames_rejected)
                self._writer.close()
            except SessionError as error:
                self._error = self._error or error
        readings = self._table.kept
        if not readings:
            self._remove()
        path = self._writer.path if readings else None
        found, raw = self._events.found, self._raw.close()
        self._outcome = Outcome(path, readings, self.captures, found, self.traffic, raw, self._failed, self._error)
        return self._outcome

    # What the supervisors tell (see `Listener`).

    def readings(self, meter: int, readings: list[Reading]) -> None:
        """Readings came from a meter."""
        by_channel: dict[int, list[Reading]] = {}
        with self._lock:
            if self._over.is_set():
                return
            try:
                self._note_suspension()
                self._begin_channels(meter, readings)
                for reading in self._suspensions.counted_in(readings):
                    by_channel.setdefault(self._table.number(meter, reading), []).append(reading)
                for number, some in by_channel.items():
                    self._note_turn(self.channels[number], self._table.turned_from(meter, some[0]))
                    self._take(self.channels[number], some)
                self._table.add_rejected(meter, self._supervisors[meter].traffic.frames_rejected)
            except SessionError as error:
                self._fail(error)

    def link(self, meter: int, up: bool, cause: str, ago_s: float = 0.0) -> None:
        """A meter came or went."""
        at_s = max(self.elapsed_s - ago_s, 0.0)
        name = self._meters[meter].meter.name
        with self._lock:
            if self._over.is_set():
                return
            latest = self._table.latest(meter)
            try:
                for channel in latest or (None,):
                    self._writer.add_link_change(at_s, name, up, cause, channel)
                self._raw.note_link(meter, at_s, up, cause)
            except SessionError as error:
                self._fail(error)
        if latest or not up:  # the first time, what it shows says that it is up
            self._tell(Notice("link", at_s, f"{name}: {cause}"))

    def waiting_for(self, meter: int, text: str) -> None:
        """A meter has not said anything yet."""
        self._tell(Notice("waiting", self.elapsed_s, f"{self._meters[meter].meter.name}: {text}"))

    def never_taught(self, meter: int, frame: bytes, question: str) -> None:
        """A meter showed something that cannot be read as it stands: said, and its bytes are kept."""
        target = self._meters[meter].address.target
        with self._lock:
            if self._over.is_set():
                return
            key = f"never_taught_{meter + 1}"
            before = self._writer.details.get(key, "")
            try:
                self._writer.set_detail(key, f"{before}; {frame.hex(' ')}".removeprefix("; "))
            except SessionError as error:
                self._fail(error)
        if not before:
            why = (
                f"a person must tell: {question}"
                if question
                else f"was never taught: teach it, meterlog meters --teach {target}"
            )
            self._tell(
                Notice(
                    "waiting",
                    self.elapsed_s,
                    f"{self._meters[meter].meter.name}: this meter shows something that {why};"
                    f" its bytes are kept: {frame.hex(' ')}",
                )
            )

    def ended(self, meter: int, error: MeterlogError | None) -> None:
        """Nothing more comes from a meter. What went wrong with one of several ends that one alone."""
        with self._lock:
            self._living.discard(meter)
            if error is not None and self._living and not self._over.is_set():
                self._failed[meter] = error
                self.link(meter, False, str(error))
            elif error is not None:
                self._fail(error)
            elif not self._living and not self._over.is_set():
                self._over.set()
                self._tell(Notice("end", self.elapsed_s, "every source has come to its end"))

    # What happens inside; the lock is held.

    def _begin_channels(self, meter: int, readings: list[Reading]) -> None:
        """Begin the channels of what a meter shows for the first time: at the start, or its dial was turned."""
        new = self._table.new(meter, readings)
        for reading in new:
            channel = self._table.begin(meter, reading)
            if self._windows is not None:
                self._windows.add_channel(self.channels[channel.number])
            self._events.add_channel(channel)
            text = f"{channel.label}: {channel.quantity.words}"
            self._tell(Notice("channel", self.elapsed_s, text, channel.number, channel.quantity))
        if new and self._windows is not None:
            doubt = unwatched(self._windows.condition, self._meters, list(self.channels.values()))
            if doubt:
                self._tell(Notice("waiting", self.elapsed_s, doubt))

    def _note_turn(self, channel: LiveChannel, left: int | None) -> None:
        """Announce that a meter's dial was turned away from the channel `left`."""
        if left is None:
            return
        self._events.dial_left(left, channel.quantity)
        text = f"{channel.label}: {turned_to(channel.quantity)}"
        self._tell(Notice("dial", self.elapsed_s, text, channel.number, channel.quantity))

    def _take(self, channel: LiveChannel, readings: list[Reading]) -> None:
        channel.add(readings)
        self._newest_s = max(self._newest_s, readings[-1].time_s)
        if self._windows is None:
            self._keep({channel.number: readings})
            return
        self._keep(self._windows.take(channel, readings))
        self._close_window(self._newest_s - self._writer.monotonic_start_s)

    def _keep(self, by_channel: dict[int, list[Reading]]) -> None:
        for number, readings in by_channel.items():
            self._writer.append(number, readings)
            self.channels[number].kept += len(readings)
            for event in self._events.feed(number, readings, self._writer.monotonic_start_s):
                self._tell_event(number, event)
            self.channels[number].standing = self._events.standing(number)
        if self._windows is None and self._events_wanted is not None and self._events.count >= self._events_wanted:
            self._over.set()

    def _keep_round(self, at_s: float) -> None:
        """Do what a marker does to an armed capture."""
        if self._windows is not None:
            self._keep(self._windows.open(at_s))

    def _close_window(self, now_s: float) -> None:
        if self._windows is not None and not self._over.is_set() and self._windows.close(now_s):
            self._over.set()

    def _heed_markers_from_elsewhere(self) -> None:
        """Do what `mark` does for a marker of the page or of `meterlog mark`, which is in the file already."""
        for marker in self._writer.markers_from_elsewhere():
            self._events.marker(marker)
            self._keep_round(marker.time_s)
            self._tell(Notice("marker", marker.time_s, f"{marker.name}: {marker.note}".removesuffix(": ")))

    def _note_suspension(self) -> None:
        """Count a suspension of this computer in, and say it: the monotonic clock stood still meanwhile."""
        if self._over.is_set():
            return
        before_s = self.elapsed_s
        more_s = self._suspensions.more_s()
        if not more_s:
            return
        try:
            self._writer.add_suspension(more_s)
            for channel, meter in self._table.meters:
                name = self._meters[meter].meter.name
                self._writer.add_link_change(before_s, name, False, "this computer was suspended", channel)
                self._writer.add_link_change(before_s + more_s, name, True, f"it woke after {more_s:.0f} s", channel)
        except SessionError as error:
            self._fail(error)
        self._tell(Notice("link", before_s, f"this computer was suspended for {more_s:.0f} s: nothing was read"))

    def _note_clock(self) -> None:
        """Say that this computer's wall clock was set."""
        if self._over.is_set():
            return
        try:
            said = self._clock.correct()
        except SessionError as error:
            self._fail(error)
            return
        if said:
            self._tell(Notice("clock", self.elapsed_s, said))

    def _announce(self, at_s: float, marker: str, text: str, channel: LiveChannel | None = None) -> None:
        """Set a marker of the armed capture's own, and tell of it."""
        self._add_marker(at_s, marker, text, CAPTURE)
        concerned = (channel.number, channel.quantity) if channel is not None else (None, None)
        self._tell(Notice("capture", at_s, text, *concerned))

    def _add_marker(self, at_s: float, name: str, note: str, by: str) -> None:
        self._writer.add_marker(at_s, name, note, by)
        self._markers += 1
        self._events.marker(Marker(self._markers, at_s, name, note, by))

    def _say_shown(self) -> None:
        """While nothing is kept, let others see that the meters are alive."""
        if self.waiting:
            self._writer.say({"shows": self._table.shown(self._writer.monotonic_start_s)})
        elif self._said_shown:
            self._writer.say({})
        self._said_shown = self.waiting

    def _fail(self, error: MeterlogError) -> None:
        if self._error is None and not self._over.is_set():
            self._error = error
        self._over.set()

    def _tell_event(self, number: int, event: Event) -> None:
        channel = self.channels[number]
        channel.last_event = event
        self._tell(Notice("event", event.start_s, event.detail, number, channel.quantity, event))

    def _tell(self, notice: Notice) -> None:
        if self._observer is not None:
            self._observer(notice)
