"""Hours of recording, a growing file with readers on it, a folder of thousands: memory, handles and logs stay flat."""

from __future__ import annotations

import os
import shutil
import sys
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import psutil
import pytest

from meterlog.address import Address
from meterlog.analysis import analyze
from meterlog.capture import MeterSetup, Recorder
from meterlog.capture.detection import live_detection
from meterlog.cli.main import main
from meterlog.driver import Traffic
from meterlog.errors import LinkLost
from meterlog.reading import Accuracy, Flag, Quantity, Reading
from meterlog.session import SessionReader, SessionWriter, open_reader
from meterlog.session.commits import WAL_LIMIT_BYTES
from meterlog.session.contents import Contents


class Accelerated:
    """A meter with a reading every third of a second of its own time, which runs much faster than the clock.

    A supply that goes on and off every five minutes, and one link loss an hour.
    """

    INTERVAL_S = 1 / 3
    BLOCK = 60

    def __init__(self, name: str, hours: float) -> None:
        self.name, self.traffic = name, Traffic()
        self._left = round(hours * 3600 / self.INTERVAL_S / self.BLOCK)
        self._start_s = time.monotonic()
        self.given = 0
        self.opened = self.closed = 0

    def open(self) -> Accelerated:
        """Go on where the lost link broke off."""
        self.opened += 1
        return self

    def read(self, timeout_s: float) -> list[Reading] | None:
        """The next twenty seconds' worth."""
        del timeout_s
        if not self._left:
            return None
        self._left -= 1
        if self._left % 180 == 90:
            raise LinkLost(f"{self.name} is gone", self.name)
        time.sleep(0.0005)
        first = self.given
        self.given += self.BLOCK
        return [self._reading(i) for i in range(first, self.given)]

    def _reading(self, i: int) -> Reading:
        time_s = i * self.INTERVAL_S
        value = (12.4 if time_s % 600 < 300 else 0.02) + 0.01 * (i * 7919 % 5)
        return Reading(self._start_s + time_s, round(value, 2), Quantity.DC_VOLTAGE, 0.01, Flag.DC)

    def close(self) -> None:
        """Let go."""
        self.closed += 1


@dataclass
class Flatness:
    """Measures what a long recording took.

    Attributes:
        hours: of the meters' time.
        readings: kept.
        losses: of a link, each mended.
        events: found live.
        start_mb: memory after the first tenth.
        end_mb: memory at the end.
        start_handles: open files after the first tenth.
        end_handles: open files at the end.
        bytes_a_reading: of the finished file.
        took_s: by the clock.
    """

    hours: float
    readings: int
    losses: int
    events: int
    start_mb: float
    end_mb: float
    start_handles: int
    end_handles: int
    bytes_a_reading: float
    took_s: float


def recorded_for(path: Path, hours: float) -> Flatness:
    """Record two accelerated meters for so many hours of their time, with live detection."""
    meters = [Accelerated("left", hours), Accelerated("right", hours)]
    setups = [
        MeterSetup(Address.parse(f"sim:{m.name}"), m, (m.name,), (), Accuracy(), m.INTERVAL_S, 0.0) for m in meters
    ]
    process, began_s = psutil.Process(), time.monotonic()
    writer = SessionWriter.create(path)
    recorder = Recorder(setups, writer, detector=live_detection({"system_v": "12"}))
    recorder.start()
    due = 2 * round(hours * 3600 / Accelerated.INTERVAL_S)
    start: tuple[float, int] | None = None
    while not recorder.wait(0.05):
        done = sum(channel.count for channel in list(recorder.channels.values()))
        if start is None and done > due / 10:
            writer.flush()  # the log's handles are there from the first commit on
            start = process.memory_info().rss / 1e6, process.num_fds()
    end_mb, end_handles = process.memory_info().rss / 1e6, process.num_fds()
    outcome = recorder.finish()
    assert outcome.error is None
    assert start is not None
    for meter in meters:
        assert meter.opened == meter.closed
    with open_reader(path) as reader:
        for channel in reader.channels:
            series, given = reader.series(channel.number), next(m.given for m in meters if m.name == channel.label)
            assert len(series) == given
            assert np.abs(np.diff(series.time_s) - Accelerated.INTERVAL_S).max() < 1e-5
        downs = [change for change in reader.link_changes if not change.up]
        assert all("is gone" in change.cause for change in downs)
        assert len(downs) == sum(meter.opened - 1 for meter in meters)
    losses = sum(meter.opened - 1 for meter in meters)
    size = path.stat().st_size / outcome.readings
    took_s = time.monotonic() - began_s
    return Flatness(
        hours, outcome.readings, losses, len(outcome.events), start[0], end_mb, start[1], end_handles, size, took_s
    )


@pytest.mark.skipif(sys.platform == "win32", reason="counts file descriptors")
def test_hours_of_recording_take_no_more_memory_or_handles(tmp_path: Path) -> None:
    flat = recorded_for(tmp_path / "a.sqlite", 3.0)
    assert flat.end_mb - flat.start_mb < 25
    assert flat.end_handles <= flat.start_handles + 1
    with open_reader(tmp_path / "a.sqlite") as reader:
        assert sum(reader.count(channel.number) for channel in reader.channels) == flat.readings
        assert len([change for change in reader.link_changes if not change.up]) == flat.losses > 0
        assert not [event for event in analyze(Contents.of(reader)).events if event.kind == "gap"]


def log_while_read(path: Path, seconds: float, batch: int = 400) -> tuple[int, int, int]:
    """Write as fast as a session takes it, with two readers following; the largest log, readings, polls."""
    polls = largest = 0
    with SessionWriter.create(path) as writer:
        channel = writer.add_channel("feed", Quantity.DC_VOLTAGE)
        writer.flush()
        readers: list[SessionReader] = [open_reader(path), open_reader(path)]
        cursors, given, stop_s = [0, 0], 0, time.monotonic() + seconds
        while time.monotonic() < stop_s:
            start_s = writer.monotonic_start_s + given * 0.001
            readings = [Reading(start_s + k * 0.001, float(k % 9), Quantity.DC_VOLTAGE, 1.0) for k in range(batch)]
            writer.append(channel, readings)
            given += batch
            writer.flush()
            for i, reader in enumerate(readers):
                found, cursors[i] = reader.follow(channel, cursors[i])
                assert len(found) == batch
                reader.overview(channel, 0.0, max(reader.duration_s, 1.0), 50)
                polls += 1
            largest = max(largest, os.path.getsize(f"{path}-wal"))
        for reader in readers:
            reader.close()
    with open_reader(path) as reader:
        assert reader.count(channel) == given
        assert cursors == [given, given]
    assert not Path(f"{path}-wal").exists()
    return largest, given, polls


def test_two_readers_on_a_growing_file_keep_its_log_bounded(tmp_path: Path) -> None:
    largest, given, polls = log_while_read(tmp_path / "a.sqlite", 1.5)
    assert largest < 1.5 * WAL_LIMIT_BYTES
    assert given > 0
    assert polls > 0


def shelf(good: Path, folder: Path, sessions: int) -> Path:
    """A folder of so many sessions."""
    folder.mkdir()
    for i in range(sessions):
        shutil.copyfile(good, folder / f"{i:05}.sqlite")
    return folder


def test_a_folder_of_many_sessions_is_listed_whole(
    good: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = shelf(good, tmp_path / "many", 300)
    assert main(["sessions", str(folder)]) == 0
    assert len(capsys.readouterr().out.splitlines()) == 301
    assert len(list(folder.glob("*.sqlite"))) == 300
