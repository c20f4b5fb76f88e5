"""A recorder that lives in the car waits for its meter, begins a session each day, learns the time, has a button."""

from __future__ import annotations

import os
import struct
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from datetime import timedelta
from itertools import pairwise
from pathlib import Path
from typing import Protocol

import pytest

import meterlog
from meterlog.capture import Notice, Recorder, meter_setups
from meterlog.errors import LinkAbsent, MeterlogError
from meterlog.session import SessionWriter, open_reader
from tests.waiting import until

METERLOG = [sys.executable, "-m", "meterlog"]


class Plugged(Protocol):
    """See tests/conftest.py."""

    port: Path

    def show(self, value: float) -> None: ...
    def plug(self) -> None: ...
    def unplug(self) -> None: ...


def test_a_meter_that_is_not_there_yet_is_waited_for(plug_in: Callable[[], Plugged], tmp_path: Path) -> None:
    meter = plug_in()
    meter.unplug()
    told: list[Notice] = []
    recorder = Recorder(
        meter_setups([f"status14:{meter.port}"]),
        SessionWriter.create(tmp_path / "a.sqlite"),
        observer=told.append,
        patient=True,
    )
    recorder.start()
    recorder.wait(0.3)
    assert "waiting for it" in told[0].text
    meter.plug()
    end_s = time.monotonic() + 60.0
    while not any(live.count for live in recorder.channels.values()):
        assert time.monotonic() < end_s
        meter.show(12.5)
        recorder.wait(0.1)
    assert recorder.finish().readings


def test_without_waiting_a_missing_meter_is_an_error(tmp_path: Path) -> None:
    recorder = Recorder(meter_setups([f"status14:{tmp_path / 'none'}"]), SessionWriter.create(tmp_path / "a.sqlite"))
    with pytest.raises(LinkAbsent):
        recorder.start()


def test_a_new_session_begins_each_time_and_little_is_missed_between(tmp_path: Path) -> None:
    words = ["record", "--meter", "sim:healthy-prime?seed=7", "--each", "2", "--for", "6", "--quiet"]
    done = subprocess.run([*METERLOG, *words], cwd=tmp_path, check=True, capture_output=True, text=True)
    cautions = [line for line in done.stdout.splitlines() if line.startswith("caution: ")]
    assert len(cautions) == len(set(cautions)) == 2  # at the first session, not at each
    paths = sorted(tmp_path.glob("*.sqlite"))
    assert len(paths) == 3
    spans = []
    for path in paths:
        with open_reader(path) as reader:
            assert reader.ended == "clean"
            spans.append((reader.started_at, reader.started_at + timedelta(seconds=reader.duration_s)))
    gaps_s = [(after[0] - before[1]).total_seconds() for before, after in pairwise(spans)]
    assert all(gap_s < 2.0 for gap_s in gaps_s)


def test_a_last_session_without_readings_is_no_failure_of_those_before(
    plug_in: Callable[[], Plugged], tmp_path: Path
) -> None:
    meter = plug_in()
    words = ["record", "--meter", f"status14:{meter.port}", "--each", "1", "--for", "6", "--quiet", "--plain"]
    with subprocess.Popen([*METERLOG, *words], cwd=tmp_path, stdout=subprocess.PIPE, text=True) as recording:
        assert recording.stdout is not None
        over = threading.Event()

        def show() -> None:
            while not over.wait(0.05):
                meter.show(12.5)

        showing = threading.Thread(target=show)
        showing.start()
        said = []
        for line in recording.stdout:
            said.append(line)
            if line.startswith("kept "):
                over.set()
        over.set()
        showing.join()
        assert recording.wait(60) == 0
    assert said[-1] == "no readings came, so no file is left\n"
    assert list(tmp_path.glob("*.sqlite"))


def test_the_clock_that_is_set_while_recording_corrects_the_beginning(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    real, forward_s = time.time, [0.0]
    monkeypatch.setattr("meterlog.capture.wall_clock.time.time", lambda: real() + forward_s[0])
    told: list[Notice] = []
    path = tmp_path / "a.sqlite"
    recorder = Recorder(meter_setups(["sim:healthy-prime?seed=7"]), SessionWriter.create(path), observer=told.append)
    recorder.start()
    recorder.wait(1.0)
    forward_s[0] = 3600.0
    recorder.wait(0.1)
    recorder.wait(0.1)
    recorder.finish()
    (clock,) = [notice for notice in told if notice.kind == "clock"]
    assert "set forward by 1:00:00" in clock.text
    with meterlog.open_session(path) as session:
        assert session.details["clock"].startswith("set forward by 1:00:00 at 1 s")
        began_s = session.started_at.timestamp()
        assert began_s == pytest.approx(real() + 3600.0, abs=30.0)
        assert session.frame().index[-1] < 10.0


def _count(path: Path) -> int:
    try:
        with open_reader(path) as reader:
            return reader.count(1) if reader.channels else 0
    except MeterlogError:  # not there yet, or not yet whole
        return 0


@pytest.mark.skipif(sys.platform == "win32", reason="needs a device file")
def test_a_press_of_the_button_is_a_marker(tmp_path: Path) -> None:
    device = tmp_path / "event3"
    os.mkfifo(device)
    keep = os.open(device, os.O_RDWR)
    words = [
        "record",
        "--meter",
        "sim:healthy-prime?seed=7",
        "--for",
        "3",
        "--out",
        "a.sqlite",
        "--button",
        str(device),
    ]

    def press() -> None:
        until(lambda: _count(tmp_path / "a.sqlite") > 0)
        for kind, value in (
            (4, 9),
            (1, 1),
            (1, 2),
            (1, 0),
            (0, 0),
        ):  # as a key press comes: scan code, press, repeat, release
            os.write(keep, struct.pack("llHHi", 0, 0, kind, 57, value))

    pressing = threading.Thread(target=press)
    pressing.start()
    subprocess.run([*METERLOG, *words], cwd=tmp_path, check=True, capture_output=True)
    pressing.join()
    os.close(keep)
    with meterlog.open_session(tmp_path / "a.sqlite") as session:
        assert session.markers["name"].tolist() == ["button"]


def test_a_button_that_is_not_there_is_said(tmp_path: Path) -> None:
    words = ["record", "--meter", "sim:healthy-prime?seed=7", "--button", "/dev/input/none", "--for", "2"]
    done = subprocess.run([*METERLOG, *words], cwd=tmp_path, capture_output=True, text=True, check=False)
    assert done.returncode == 2
    assert "there is no button /dev/input/none" in done.stderr
    assert not list(tmp_path.iterdir())
