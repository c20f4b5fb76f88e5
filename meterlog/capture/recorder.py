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
from pathlib import Path

from meterlog.capture.channels import LiveChannel
from meterlog.capture.meters import MeterSetup
from meterlog.capture.notices import Detector, Notice, Outcome
from meterlog.capture.supervisor import Supervisor
from meterlog.capture.suspension import LEAST_S, suspended_s
from meterlog.capture.trigger import WAITING_FOR, ArmedCapture, Firing
from meterlog.driver import Traffic
from meterlog.errors import MeterlogError, SessionError
from meterlog.events import Event
from meterlog.reading import Quantity, Reading
from meterlog.session import Channel, Marker, SessionWriter
from meterlog.session.model import ARMED, CAPTURE, TRIGGERED
from meterlog.transports.raw_capture import RawCaptureWriter

UNTRUSTED_KINDS = ("gap", "held_display", "meter_battery_low", "range_change")
"""Events about the readings, not the circuit: `events_wanted` does not count them."""

LATE_S = 0.5
"""How long after the end of an armed capture's window its last readings may still be on their way."""


LONGEST_END_S = 3.0
"""How long the end waits for the meters; one that hangs in its opening is left to itself."""


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

        Raises:
            UsageError: `raw`, and a meter has no bytes.
            SessionWriteFailed: a raw capture cannot be made.
        """
        self.channels: dict[int, LiveChannel] = {}
        self._writer, self._armed, self._events_wanted = writer, armed, events_wanted
        self._make_detector, self._observer = detector, observer
        self._detectors: dict[int, Detector] = {}
        self._events: list[Event] = []
        self._lock = threading.RLock()
        self._over = threading.Event()
        self._error: MeterlogError | None = None
        self._outcome: Outcome | None = None
        self._numbers: dict[tuple[int, int, Quantity], int] = {}
        self._newest_s = 0.0
        self._suspended_before_s = suspended_s()
        self._suspended_s = 0.0
        self._waiting = False  # armed, and no window is open
        self._said_shown = False
        self._markers = 0
        self._raw: list[RawCaptureWriter] = []
        self._meters = [self._tap(number, setup) for number, setup in enumerate(meters)] if raw else list(meters)
        self._supervisors = [Supervisor(number, setup, self) for number, setup in enumerate(self._meters)]
        self._living = set(range(len(self._meters)))

    def _tap(self, number: int, setup: MeterSetup) -> MeterSetup:
        writer = self._writer
        byte_time_s = setup.byte_time_s
        path = writer.path.with_name(f"{writer.path.stem}.meter{number + 1}.raw")
        sink = RawCaptureWriter(path, str(setup.address), writer.started_at, writer.monotonic_start_s, byte_time_s)
        self._raw.append(sink)
        return setup.tapped(sink)

    def start(self) -> None:
        """Open every meter, all at once.

        Raises:
            MeterlogError: the first opening of one failed; all is closed again and no file is left.
        """
        if self._armed is not None:
            self._wait_armed(self._writer.elapsed_s)
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
    def elapsed_s(self) -> float:
        """Time since the session's start, s; by the readings where a replay runs ahead of the clock."""
        return max(self._writer.elapsed_s, self._newest_s - self._writer.monotonic_start_s)

    @property
    def captures(self) -> int:
        """How often an armed capture's condition came true."""
        return self._armed.fired if self._armed is not None else 0

    @property
    def waiting(self) -> bool:
        """Whether an armed capture is waiting for its condition."""
        return self._waiting

    @property
    def silent(self) -> set[int]:
        """The meters, by number, that give no readings now."""
        return {number for number, supervisor in enumerate(self._supervisors) if not supervisor.up}

    @property
    def traffic(self) -> list[Traffic]:
        """What each meter's link has carried."""
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

    def _keep_round(self, at_s: float) -> None:
        """What a marker does to an armed capture. The lock is held."""
        if self._armed is not None:
            self._keep(self._armed.open_window(at_s + self._writer.monotonic_start_s))
            self._waiting = False

    def _heed_markers_from_elsewhere(self) -> None:
        """A marker of the page or of `meterlog mark` is in the file already; else it does what `mark` does."""
        for marker in self._writer.markers_from_elsewhere():
            for detector in self._detectors.values():
                detector.marker(marker)
            self._keep_round(marker.time_s)
            self._tell(Notice("marker", marker.time_s, f"{marker.name}: {marker.note}".removesuffix(": ")))

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
            self._close_window(self._writer.elapsed_s)
            self._say_shown()
        return self._over.wait(timeout_s)

    def _say_shown(self) -> None:
        """While nothing is kept, let others see that the meters are alive."""
        if self._waiting:
            shown = [channel.last for channel in self.channels.values()]
            start_s = self._writer.monotonic_start_s
            said = [
                [number, reading.time_s - start_s, reading.value, reading.resolution, int(reading.flags)]
                for number, reading in zip(self.channels, shown, strict=True)
                if reading is not None
            ]
            self._writer.say({"shows": said})
        elif self._said_shown:
            self._writer.say({})
        self._said_shown = self._waiting

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
                if self._armed is not None and not any(channel.kept for channel in self.channels.values()):
                    self._keep(self._armed.rest())
                for number, detector in self._detectors.items():
                    self._found(number, detector.finish())
                self._writer.close()
            except SessionError as error:
                self._error = self._error or error
        readings = sum(channel.kept for channel in self.channels.values())
        if not readings:
            self._remove()
        self._outcome = Outcome(
            self._writer.path if readings else None,
            readings,
            self.captures,
            self._events,
            self.traffic,
            [path for path in map(_closed, self._raw) if path is not None],
            self._error,
        )
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
                for reading in self._on_session_clock(readings):
                    number = self._channel(meter, reading)
                    by_channel.setdefault(number, []).append(reading)
                for number, some in by_channel.items():
                    self._take(number, some)
            except SessionError as error:
                self._fail(error)

    def link(self, meter: int, up: bool, cause: str) -> None:
        """A meter came or went."""
        at_s = self.elapsed_s
        name = self._meters[meter].meter.name
        with self._lock:
            if self._over.is_set():
                return
            newest = {column: number for (one, column, _), number in self._numbers.items() if one == meter}
            try:
                for channel in newest.values() or (None,):
                    self._writer.add_link_change(at_s, name, up, cause, channel)
                if self._raw:
                    self._raw[meter].note(f"{at_s:.6f} {'up' if up else 'down'}: {cause}")
            except SessionError as error:
                self._fail(error)
        if newest or not up:  # the first time, what it shows says that it is up
            self._tell(Notice("link", at_s, f"{name}: {cause}"))

    def waiting_for(self, meter: int, text: str) -> None:
        """A meter has not said anything yet."""
        self._tell(Notice("waiting", self.elapsed_s, f"{self._meters[meter].meter.name}: {text}"))

    def ended(self, meter: int, error: MeterlogError | None) -> None:
        """Nothing more comes from a meter."""
        with self._lock:
            self._living.discard(meter)
            if error is not None:
                self._fail(error)
            elif not self._living and not self._over.is_set():
                self._over.set()
                self._tell(Notice("end", self.elapsed_s, "every source has come to its end"))

    # What happens inside; the lock is held.

    def _note_suspension(self) -> None:
        """Count a suspension of this computer in, and say it: the monotonic clock stood still meanwhile."""
        more_s = suspended_s() - self._suspended_before_s - self._suspended_s
        if more_s < LEAST_S or self._over.is_set():
            return
        before_s = self.elapsed_s
        self._suspended_s += more_s
        try:
            self._writer.add_suspension(more_s)
            for (meter, _, _), channel in self._numbers.items():
                name = self._meters[meter].meter.name
                self._writer.add_link_change(before_s, name, False, "this computer was suspended", channel)
                self._writer.add_link_change(before_s + more_s, name, True, f"it woke after {more_s:.0f} s", channel)
        except SessionError as error:
            self._fail(error)
        self._tell(Notice("link", before_s, f"this computer was suspended for {more_s:.0f} s: nothing was read"))

    def _on_session_clock(self, readings: list[Reading]) -> list[Reading]:
        """The readings with the suspensions so far in their times."""
        if not self._suspended_s:
            return readings
        return [reading._replace(time_s=reading.time_s + self._suspended_s) for reading in readings]

    def _channel(self, meter: int, reading: Reading) -> int:
        key = (meter, reading.column, reading.quantity)
        number = self._numbers.get(key)
        return self._new_channel(*key) if number is None else number

    def _new_channel(self, meter: int, column: int, quantity: Quantity) -> int:
        """A meter shows this quantity for the first time: at the start, or when its dial was turned."""
        setup = self._meters[meter]
        label = setup.label(column)
        address = setup.reached_by
        number = self._writer.add_channel(
            label,
            quantity,
            point=setup.point(column),
            address=str(address),
            driver=address.scheme,
            accuracy=setup.accuracy,
            interval_s=setup.interval_s,
        )
        self._numbers[meter, column, quantity] = number
        self.channels[number] = LiveChannel(number, meter, label, quantity, setup.interval_s)
        if self._armed is not None:
            self._armed.add_channel(number, label, quantity)
        if self._make_detector is not None:
            channel = Channel(
                number,
                label,
                quantity,
                setup.point(column),
                str(address),
                address.scheme,
                setup.accuracy,
                setup.interval_s,
            )
            self._detectors[number] = self._make_detector(channel)
        self._tell(Notice("channel", self.elapsed_s, f"{label}: {quantity.words}", number, quantity))
        return number

    def _take(self, number: int, readings: list[Reading]) -> None:
        self.channels[number].add(readings)
        self._newest_s = max(self._newest_s, readings[-1].time_s)
        if self._armed is None:
            self._keep({number: readings})
            return
        keep, firings = self._armed.take(number, readings)
        for firing in firings:
            self._note_firing(firing)
        self._keep(keep)
        self._close_window(self._newest_s - self._writer.monotonic_start_s)

    def _keep(self, by_channel: dict[int, list[Reading]]) -> None:
        for number, readings in by_channel.items():
            self._writer.append(number, readings)
            self.channels[number].kept += len(readings)
            detector = self._detectors.get(number)
            if detector is not None:
                start_s = self._writer.monotonic_start_s
                relative = [reading._replace(time_s=reading.time_s - start_s) for reading in readings]
                self._found(number, detector.feed(relative))

    def _found(self, number: int, events: list[Event]) -> None:
        for event in events:
            self._events.append(event)
            channel = self.channels[number]
            channel.last_event = event
            self._tell(Notice("event", event.start_s, event.detail, number, channel.quantity, event))
        if self._armed is None and self._events_wanted is not None:
            wanted = [event for event in self._events if event.kind not in UNTRUSTED_KINDS]
            if len(wanted) >= self._events_wanted:
                self._over.set()

    def _note_firing(self, firing: Firing) -> None:
        assert self._armed is not None
        at_s = firing.time_s - self._writer.monotonic_start_s
        channel = self.channels[firing.channel]
        text = f"{self._armed.condition.text} on {channel.label}: {firing.value:g} {channel.quantity.unit}"
        self._add_marker(at_s, TRIGGERED, text, CAPTURE)
        self._waiting = False
        self._tell(Notice("capture", at_s, text, firing.channel, channel.quantity))

    def _close_window(self, now_s: float) -> None:
        """End an armed capture's window whose last readings must have come; `now_s` from the session's start."""
        if self._armed is None or self._waiting or self._over.is_set():
            return
        until_s = self._armed.until_s - self._writer.monotonic_start_s
        if now_s <= until_s + LATE_S:
            return
        if self._events_wanted is not None and self._armed.fired >= self._events_wanted:
            self._over.set()
            return
        self._wait_armed(until_s)

    def _wait_armed(self, at_s: float) -> None:
        """Begin to wait. The marker tells readers of the session that what is missing from here was not wanted."""
        assert self._armed is not None
        self._waiting = True
        text = f"{WAITING_FOR}{self._armed.condition.text}"
        self._add_marker(at_s, ARMED, text, CAPTURE)
        self._tell(Notice("capture", at_s, text))

    def _add_marker(self, at_s: float, name: str, note: str, by: str) -> None:
        self._writer.add_marker(at_s, name, note, by)
        self._markers += 1
        marker = Marker(self._markers, at_s, name, note, by)
        for detector in self._detectors.values():
            detector.marker(marker)

    def _fail(self, error: MeterlogError) -> None:
        if self._error is None and not self._over.is_set():
            self._error = error
        self._over.set()

    def _tell(self, notice: Notice) -> None:
        if self._observer is not None:
            self._observer(notice)


def _closed(capture: RawCaptureWriter) -> Path | None:
    """Close a raw capture; None where no byte came and the file is removed."""
    capture.close()
    if capture.chunks:
        return capture.path
    capture.path.unlink(missing_ok=True)
    return None
