"""The recorder keeps every reading of every meter, through unplugging and silence, and leaves no empty file."""

from __future__ import annotations

import math
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Protocol

import numpy as np
import pytest

from meterlog.capture import ArmedCapture, Condition, MeterSetup, Notice, Recorder, meter_setup
from meterlog.capture.detection import live_detection
from meterlog.errors import LinkAbsent, NoFrameFits, SessionWriteFailed
from meterlog.events.detect import detect
from meterlog.reading import Quantity, Reading
from meterlog.session import SessionReader, SessionWriter, open_reader
from meterlog.transports.raw_capture import read_raw_capture
from tests.waiting import until


class Plugged(Protocol):
    """A meter on a pseudo-terminal: see tests/conftest.py."""

    port: Path

    def plug(self) -> None: ...
    def unplug(self) -> None: ...
    def show(self, value: float, quantity: Quantity = ..., resolution: float = ...) -> None: ...
    def send(self, data: bytes) -> None: ...


def count(recorder: Recorder) -> int:
    return sum(channel.count for channel in list(recorder.channels.values()))


class Recording:
    """A recorder with its notices."""

    def __init__(self, path: Path, addresses: Sequence[str], **options: object) -> None:
        self.path = path
        self.notices: list[Notice] = []
        setups: list[MeterSetup] = [meter_setup(address) for address in addresses]
        writer = SessionWriter.create(path)
        self.recorder = Recorder(setups, writer, observer=self.notices.append, **options)  # type: ignore[arg-type]

    def texts(self, kind: str) -> list[str]:
        return [notice.text for notice in self.notices if notice.kind == kind]


@pytest.fixture
def start(tmp_path: Path) -> Iterator[Callable[..., Recording]]:
    made: list[Recording] = []

    def begin(*addresses: str, **options: object) -> Recording:
        recording = Recording(tmp_path / "out.sqlite", addresses, **options)
        made.append(recording)
        recording.recorder.start()
        return recording

    yield begin
    for recording in made:
        recording.recorder.finish()


def values(reader: SessionReader, channel: int = 1) -> list[float]:
    return [float(v) for v in reader.series(channel).value]


def test_every_reading_of_two_meters_is_kept_with_its_time(
    meter: Plugged, plug_in: Callable[[], Plugged], start: Callable[..., Recording]
) -> None:
    second_meter = plug_in()
    recording = start(f"status14:{meter.port}?label=feed", f"status14:{second_meter.port}?label=ground")
    shown: list[float] = []
    counted: list[float] = []
    for i in range(50):
        shown.append(time.monotonic())
        meter.show(i / 100)
        second_meter.show(i / 10)
        until(lambda i=i: count(recording.recorder) == 2 * (i + 1))  # type: ignore[misc]
        counted.append(time.monotonic())
    outcome = recording.recorder.finish()
    assert (outcome.readings, outcome.error) == (100, None)
    with open_reader(recording.path) as reader:
        assert reader.ended == "clean"
        by_label = {channel.label: channel for channel in reader.channels}
        assert values(reader, by_label["feed"].number) == [i / 100 for i in range(50)]
        assert values(reader, by_label["ground"].number) == [i / 10 for i in range(50)]
        times = reader.series(by_label["feed"].number).time_s + reader.monotonic_start_s
        assert all(times > np.array(shown) - 0.1)
        assert all(times <= counted), "not after it was there, however busy the machine"
        assert by_label["feed"].address == f"status14:{meter.port}?label=feed"


def test_turning_the_dial_begins_a_channel(meter: Plugged, start: Callable[..., Recording]) -> None:
    recording = start(f"status14:{meter.port}?label=feed")
    for value, quantity in ((12.4, Quantity.DC_VOLTAGE), (0.4, Quantity.RESISTANCE), (12.5, Quantity.DC_VOLTAGE)):
        before = count(recording.recorder)
        meter.show(value, quantity, 0.1)
        until(lambda before=before: count(recording.recorder) > before)  # type: ignore[misc]
    recording.recorder.finish()
    with open_reader(recording.path) as reader:
        assert [(c.label, c.quantity) for c in reader.channels] == [
            ("feed", Quantity.DC_VOLTAGE),
            ("feed", Quantity.RESISTANCE),
        ]
        assert values(reader, 1) == [12.4, 12.5]
    assert [n.quantity for n in recording.notices if n.kind == "channel"] == [
        Quantity.DC_VOLTAGE,
        Quantity.RESISTANCE,
    ]


def test_an_unplugged_meter_comes_back_and_the_link_changes_say_why(
    meter: Plugged, start: Callable[..., Recording]
) -> None:
    recording = start(f"status14:{meter.port}")
    meter.show(1.0)
    until(lambda: count(recording.recorder) == 1)
    meter.unplug()
    until(lambda: recording.recorder.silent == {0})
    meter.plug()

    def back() -> bool:
        meter.show(2.0)
        time.sleep(0.02)
        return count(recording.recorder) > 1

    until(back)
    recording.recorder.finish()
    with open_reader(recording.path) as reader:
        assert values(reader)[:2] == [1.0, 2.0]
        first, down, up = reader.link_changes
        assert (first.up, first.cause) == (True, "first reading")
        assert (down.up, down.channel) == (False, 1)
        assert "is gone: unplugged" in down.cause
        assert up.up
        assert up.cause.startswith("readings again after")
    assert len(recording.texts("link")) == 2


def test_a_link_that_dies_in_silence_is_opened_again(meter: Plugged, start: Callable[..., Recording]) -> None:
    recording = start(f"status14:{meter.port}?watchdog_s=0.3")
    meter.show(1.0)
    until(lambda: recording.recorder.silent == {0} and count(recording.recorder) == 1)

    def back() -> bool:
        meter.show(2.0)
        time.sleep(0.02)
        return count(recording.recorder) > 1

    until(back)
    recording.recorder.finish()
    with open_reader(recording.path) as reader:
        causes = [change.cause for change in reader.link_changes]
    assert "no frame from status14 on" in causes[1]
    assert causes[2].startswith("readings again after")


def test_a_meter_that_never_speaks_is_asked_about_and_leaves_no_file(
    meter: Plugged, start: Callable[..., Recording]
) -> None:
    recording = start(f"status14:{meter.port}?watchdog_s=0.2")
    until(lambda: bool(recording.texts("waiting")))
    outcome = recording.recorder.finish()
    assert "is the meter on" in recording.texts("waiting")[0]
    assert (outcome.path, outcome.readings) == (None, 0)
    assert list(recording.path.parent.glob("out*")) == []


def test_a_port_that_does_not_open_ends_it_at_once_without_a_file(
    meter: Plugged, start: Callable[..., Recording], tmp_path: Path
) -> None:
    with pytest.raises(LinkAbsent, match="there is no port"):
        start(f"status14:{meter.port}", f"status14:{tmp_path / 'absent'}")
    assert list(tmp_path.glob("out*")) == []


def test_bytes_that_fit_nothing_end_it_with_the_bytes(meter: Plugged, start: Callable[..., Recording]) -> None:
    recording = start(f"status14:{meter.port}")
    meter.send(bytes(range(200)) * 2)
    until(lambda: recording.recorder.wait(0.01))
    outcome = recording.recorder.finish()
    assert isinstance(outcome.error, NoFrameFits)
    assert "00 01 02 03" in str(outcome.error)
    assert outcome.path is None


def test_garbage_beside_frames_loses_no_frame(meter: Plugged, start: Callable[..., Recording]) -> None:
    recording = start(f"status14:{meter.port}")
    for i in range(30):
        meter.send(bytes([0, 255, i, 13, 10]))
        meter.show(i / 10)
    until(lambda: count(recording.recorder) == 30)
    outcome = recording.recorder.finish()
    with open_reader(recording.path) as reader:
        assert values(reader) == [i / 10 for i in range(30)]
    assert outcome.traffic[0].frames_good == 30
    assert outcome.traffic[0].bytes_discarded >= 30 * 4


def test_overload_is_infinite(meter: Plugged, start: Callable[..., Recording]) -> None:
    recording = start(f"status14:{meter.port}")
    meter.show(math.inf, Quantity.RESISTANCE, 0.1)
    until(lambda: count(recording.recorder) == 1)
    recording.recorder.finish()
    with open_reader(recording.path) as reader:
        assert values(reader) == [math.inf]


def test_markers_are_kept_with_the_time_they_were_set(meter: Plugged, start: Callable[..., Recording]) -> None:
    recording = start(f"status14:{meter.port}")
    meter.show(1.0)
    until(lambda: count(recording.recorder) == 1)
    before_s = recording.recorder.elapsed_s
    recording.recorder.mark("key-on")
    after_s = recording.recorder.elapsed_s
    recording.recorder.mark("wiggle at plug", "third try", time_s=0.001)
    recording.recorder.finish()
    with open_reader(recording.path) as reader:
        early, late = reader.markers
    assert (early.time_s, early.name, early.note, early.by) == (0.001, "wiggle at plug", "third try", "person")
    assert late.name == "key-on"
    assert before_s <= late.time_s <= after_s
    assert recording.texts("marker") == ["key-on", "wiggle at plug: third try"]


def armed(condition: str, before_s: float, after_s: float) -> ArmedCapture:
    return ArmedCapture(Condition.parse(condition), before_s, after_s)


def test_an_armed_capture_ends_by_itself_with_the_pulse_and_what_came_before(
    meter: Plugged, start: Callable[..., Recording]
) -> None:
    recording = start(f"status14:{meter.port}", armed=armed("rise 6V", 0.1, 1.0), events_wanted=1)
    i = 0
    while not recording.recorder.wait(0.01) and i < 300:
        meter.show(12.0 if 30 <= i < 40 else 0.0)
        i += 1
    assert i < 300
    outcome = recording.recorder.finish()
    assert outcome.captures == 1
    with open_reader(recording.path) as reader:
        kept = reader.series(1)
        armed_at, triggered = reader.markers
        trigger_s = float(kept.time_s[kept.value > 6][0])
        assert (armed_at.name, armed_at.by) == ("armed", "capture")
        assert (triggered.name, triggered.note) == ("triggered", f"rise 6V on status14 {meter.port.name}: 12 V")
        assert triggered.time_s == pytest.approx(trigger_s, abs=1e-5)
        assert kept.time_s[0] >= trigger_s - 0.1 - 1e-5
        assert kept.time_s[-1] <= trigger_s + 1.0 + 1e-5
        assert sum(kept.value > 6) == 10
        assert kept.value[0] == 0.0
        assert len(kept) < i


def test_what_an_armed_capture_did_not_want_is_no_gap(meter: Plugged, start: Callable[..., Recording]) -> None:
    recording = start(f"status14:{meter.port}", armed=armed("rise 6V", 0.1, 0.2), events_wanted=2)
    i = 0
    while not recording.recorder.wait(0.01) and i < 600:
        meter.show(12.0 if i % 250 in range(30, 40) else 0.0)
        i += 1
    assert i < 600
    recording.recorder.finish()
    with open_reader(recording.path) as reader:
        series, markers = reader.series(1), reader.markers
        events = detect(reader.channels[0], series, markers)
        unmarked = detect(reader.channels[0], series, [])
    assert [marker.name for marker in markers] == ["armed", "triggered", "armed", "triggered"]
    assert [event for event in events if event.kind == "gap"] == []
    assert [event.kind for event in unmarked if event.kind == "gap"] == ["gap"]  # the silence is long enough for one


def test_a_wait_in_vain_keeps_what_memory_holds(meter: Plugged, start: Callable[..., Recording]) -> None:
    recording = start(f"status14:{meter.port}", armed=armed("rise 6V", 30.0, 1.0))
    for i in range(5):
        meter.show(i / 100)
    until(lambda: count(recording.recorder) == 5)
    assert recording.recorder.waiting
    outcome = recording.recorder.finish()
    assert (outcome.captures, outcome.readings) == (0, 5)
    with open_reader(recording.path) as reader:
        assert values(reader) == [0.0, 0.01, 0.02, 0.03, 0.04]


def test_a_marker_while_armed_keeps_what_is_round_it(meter: Plugged, start: Callable[..., Recording]) -> None:
    recording = start(f"status14:{meter.port}", armed=armed("rise 6V", 0.2, 0.2))
    marked_s, in_time = math.inf, []
    for i in range(60):
        meter.show(i / 100)
        until(lambda taken=i + 1: count(recording.recorder) == taken)  # type: ignore[misc]
        if i == 30:
            marked_s = time.monotonic()
            recording.recorder.mark("key-on")
        elif i > 30 and time.monotonic() < marked_s + 0.2:
            in_time.append(i / 100)
        time.sleep(0.01)
    outcome = recording.recorder.finish()
    assert outcome.captures == 0
    with open_reader(recording.path) as reader:
        marked_s = next(marker.time_s for marker in reader.markers if marker.name == "key-on")
        kept = reader.series(1)
    assert len(kept) < 60
    assert {0.3, *in_time} <= set(kept.value.tolist())
    assert marked_s - 0.21 <= kept.time_s[0] <= kept.time_s[-1] <= marked_s + 0.21


def test_a_marker_from_another_process_does_what_the_own_key_does(
    meter: Plugged, start: Callable[..., Recording]
) -> None:
    """`meterlog mark`, as the page does it: the window opens, readings before it included, and nothing is set twice."""
    recording = start(f"status14:{meter.port}", armed=armed("rise 6V", 0.5, 0.5))
    mark = [sys.executable, "-m", "meterlog", "mark", str(recording.path), "key-on"]
    with subprocess.Popen(mark, stdout=subprocess.DEVNULL) as marking:
        i, give_up_s = 0, time.monotonic() + 60
        while len(recording.texts("capture")) < 2:  # it waits again
            assert time.monotonic() < give_up_s
            meter.show(i / 100)
            recording.recorder.wait(0.01)
            i += 1
        assert marking.wait() == 0
    outcome = recording.recorder.finish()
    assert outcome.captures == 0
    assert recording.texts("marker") == ["key-on"]
    with open_reader(recording.path) as reader:
        kept = reader.series(1)
        (marked_s,) = [marker.time_s for marker in reader.markers if marker.name == "key-on"]
        assert [marker.name for marker in reader.markers if marker.by == "capture"] == ["armed", "armed"]
    assert marked_s - 0.51 <= kept.time_s[0] < marked_s < kept.time_s[-1] <= marked_s + 0.51
    assert np.diff(np.round(kept.value * 100)).tolist() == [1] * (len(kept) - 1)


def test_live_events_end_a_recording_after_so_many(tmp_path: Path, start: Callable[..., Recording]) -> None:
    source = tmp_path / "source.sqlite"
    volts = [16.0 if i in range(300, 320) or i in range(500, 520) else 12.4 for i in range(100_000)]
    with SessionWriter.create(source, monotonic_start_s=0.0) as writer:
        feed = writer.add_channel("feed", Quantity.DC_VOLTAGE)
        writer.append(feed, [Reading(i / 10, v, Quantity.DC_VOLTAGE, 0.01) for i, v in enumerate(volts)])
    recording = start(f"replay:{source}?speed=50", detector=live_detection({}), events_wanted=2)
    until(lambda: recording.recorder.wait(0.01))
    outcome = recording.recorder.finish()
    assert [event.kind for event in outcome.events][:2] == ["overvoltage"] * 2
    first, second = outcome.events[:2]
    assert second.start_s - first.start_s == pytest.approx(20.0, abs=0.2)
    assert recording.recorder.channels[1].last_event == outcome.events[-1]
    assert len(recording.texts("event")) == len(outcome.events)
    assert outcome.readings < 10_000  # it ended long before its source
    with open_reader(recording.path) as reader:
        later = detect(reader.channels[0], reader.series(1), reader.markers)
    assert [e.kind for e in later] == [e.kind for e in outcome.events]
    # the file keeps times to the microsecond
    assert [e.start_s for e in later] == pytest.approx([e.start_s for e in outcome.events], abs=2e-6)
    assert [e.end_s for e in later] == pytest.approx([e.end_s for e in outcome.events], abs=2e-6)


def test_a_key_on_without_a_prime_is_found_live(tmp_path: Path, start: Callable[..., Recording]) -> None:
    source = tmp_path / "source.sqlite"
    with SessionWriter.create(source, monotonic_start_s=0.0) as writer:
        feed = writer.add_channel("feed", Quantity.DC_VOLTAGE)
        writer.append(feed, [Reading(i / 10, 0.02, Quantity.DC_VOLTAGE, 0.01) for i in range(200)])
    recording = start(f"replay:{source}?speed=20", detector=live_detection({"system_v": "12"}))
    until(lambda: count(recording.recorder) > 20)
    recording.recorder.mark("key-on")
    until(lambda: recording.recorder.wait(0.01))
    assert [event.kind for event in recording.recorder.finish().events] == ["missing_prime"]


def test_a_removed_folder_ends_it_with_a_reason(tmp_path: Path, meter: Plugged) -> None:
    folder = tmp_path / "stick"
    folder.mkdir()
    recording = Recording(folder / "out.sqlite", [f"status14:{meter.port}"])
    recording.recorder.start()
    meter.show(1.0)
    until(lambda: count(recording.recorder) == 1)
    for file in folder.iterdir():
        file.unlink()
    folder.rmdir()
    until(lambda: recording.recorder.wait(0.05))
    outcome = recording.recorder.finish()
    assert isinstance(outcome.error, SessionWriteFailed)
    assert "removed" in str(outcome.error)


def test_replayed_sources_end_a_recording_by_themselves(tmp_path: Path, start: Callable[..., Recording]) -> None:
    source = tmp_path / "source.sqlite"
    with SessionWriter.create(source, monotonic_start_s=0.0) as writer:
        feed = writer.add_channel("feed", Quantity.DC_VOLTAGE)
        writer.append(feed, [Reading(i / 10, i / 10, Quantity.DC_VOLTAGE, 0.1) for i in range(200)])
    recording = start(f"replay:{source}?speed=100")
    until(lambda: recording.recorder.wait(0.05))
    outcome = recording.recorder.finish()
    assert recording.texts("end") == ["every source has come to its end"]
    assert (outcome.readings, outcome.error) == (200, None)
    with open_reader(recording.path) as reader:
        series = reader.series(1)
        assert series.time_s[-1] - series.time_s[0] == pytest.approx(19.9, abs=1e-4)
        assert reader.channels[0].label == "feed"


def test_raw_bytes_are_kept_beside_the_session(meter: Plugged, start: Callable[..., Recording]) -> None:
    recording = start(f"status14:{meter.port}?label=feed", raw=True)
    for i in range(10):
        meter.show(i / 10)
    until(lambda: count(recording.recorder) == 10)
    outcome = recording.recorder.finish()
    assert outcome.raw == [recording.path.with_name("out.meter1.raw")]
    capture = read_raw_capture(outcome.raw[0])
    assert capture.address == f"status14:{meter.port}?label=feed"
    assert len(b"".join(chunk.data for chunk in capture.chunks)) == 140
    with open_reader(recording.path) as reader:
        series = reader.series(1)
        error_s = max(1e-3, float(series.time_error_s[0]))  # several at once came, so they waited
        assert capture.chunks[0].arrival_s == pytest.approx(series.time_s[0], abs=error_s)


def test_figures_for_the_view_follow_the_readings(meter: Plugged, start: Callable[..., Recording]) -> None:
    recording = start(f"status14:{meter.port}")
    begun_s = time.monotonic()
    for number, value in enumerate((3.0, 1.0, 2.0), start=1):
        meter.show(value)
        until(lambda number=number: count(recording.recorder) == number)  # type: ignore[misc]
        time.sleep(0.1)
    meter.show(math.inf, Quantity.DC_VOLTAGE)
    until(lambda: count(recording.recorder) == 4)
    took_s = time.monotonic() - begun_s
    channel = recording.recorder.channels[1]
    assert channel.range == (1.0, 3.0)
    assert channel.overloads == 1
    assert channel.last is not None
    assert channel.last.value == math.inf
    assert 3 / took_s <= channel.rate_hz <= 3 / 0.15, "three steps of 0.1 s, less what a busy machine is late"
