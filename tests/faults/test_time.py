"""The wall clock is read once; what waited while the recorder stood still is dated right, and is no event."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from datetime import datetime, timedelta, timezone
from pathlib import Path
from typing import Protocol

import numpy as np
import pytest

from meterlog.cli.main import main
from meterlog.reading import Quantity, Reading
from meterlog.session import SessionWriter, open_reader
from tests.waiting import until

MAIN = [sys.executable, "-c", "from meterlog.cli import main; raise SystemExit(main())"]

STEPPING = """
import datetime as module, time
class Stepping(module.datetime):
    steps = 0
    @classmethod
    def now(cls, tz=None):  # the wall clock goes back or on an hour at every look
        cls.steps += 1
        return super().now(tz) + module.timedelta(hours=(-1) ** cls.steps * cls.steps)
module.datetime = Stepping
wall = time.time
time.time = lambda: wall() + 3600 * (int(wall() * 10) % 7 - 3)
from meterlog.cli import main
raise SystemExit(main())
"""


class Plugged(Protocol):
    """A meter on a pseudo-terminal: see tests/conftest.py."""

    port: Path

    def show(self, value: float) -> None: ...


class Showing:
    """Has a meter show a value, over and over."""

    def __init__(self, meter: Plugged) -> None:
        self._meter, self._stop = meter, threading.Event()
        self._thread = threading.Thread(target=self._run)
        self._thread.start()

    def _run(self) -> None:
        while not self._stop.wait(0.05):
            try:
                self._meter.show(12.4)
            except BlockingIOError:
                pass  # nobody reads, and the system holds no more

    def stop(self) -> None:
        """End it."""
        self._stop.set()
        self._thread.join()


def test_a_wall_clock_that_steps_by_hours_changes_no_time(meter: Plugged, tmp_path: Path) -> None:
    path = tmp_path / "a.sqlite"
    showing = Showing(meter)
    address = f"status14:{meter.port}"
    words = ["record", "--plain", "--quiet", "--meter", address, "--for", "1.5", "--out", str(path)]
    done = subprocess.run([sys.executable, "-c", STEPPING, *words], capture_output=True, text=True, check=False)
    showing.stop()
    assert done.returncode == 0, done.stderr
    with open_reader(path) as reader:
        time_s = reader.series(1).time_s
        assert 0 <= time_s[0] < 60  # a step of the wall clock would be hours
        assert (time_s[1:] >= time_s[:-1]).all()
        assert time_s[-1] < 60


def test_summer_time_ending_in_a_session_moves_nothing(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "a.sqlite"
    summer = timezone(timedelta(hours=2))
    with SessionWriter.create(
        path, monotonic_start_s=0.0, started_at=datetime(2026, 10, 25, 2, 30, tzinfo=summer)
    ) as writer:
        channel = writer.add_channel("feed", Quantity.DC_VOLTAGE)
        writer.append(channel, [Reading(float(i), 12.4, Quantity.DC_VOLTAGE, 0.01) for i in range(3600)])
    assert main(["export", str(path), "--out", str(tmp_path / "a.csv")]) == 0
    assert main(["import", str(tmp_path / "a.csv"), "--out", str(tmp_path / "b.sqlite")]) == 0
    with open_reader(path) as before, open_reader(tmp_path / "b.sqlite") as after:
        assert after.started_at == before.started_at
        assert after.started_at.utcoffset() == timedelta(hours=2)
        assert (after.series(1).time_s == before.series(1).time_s).all()
    capsys.readouterr()
    assert main(["analyze", str(path), "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["started_at"] == "2026-10-25T02:30:00+02:00"
    assert [event for event in found["events"] if event["kind"] == "gap"] == []


SLOW = """
import time
from meterlog.capture.detection import LaterDetection
load = LaterDetection.load
LaterDetection.load = lambda self: (time.sleep(3.0), load(self))[1]  # as on a busy machine
from meterlog.cli import main
raise SystemExit(main())
"""


@pytest.mark.skipif(sys.platform == "win32", reason="sends SIGINT")
def test_ctrl_c_while_the_live_detection_is_still_being_loaded_discards_nothing(meter: Plugged, tmp_path: Path) -> None:
    path, showing = tmp_path / "a.sqlite", Showing(meter)
    words = ["record", "--plain", "--quiet", "--meter", f"status14:{meter.port}", "--out", str(path)]
    with subprocess.Popen([sys.executable, "-c", SLOW, *words], stdout=subprocess.DEVNULL) as process:
        try:
            until(lambda: has_readings(path))
            process.send_signal(signal.SIGINT)
            assert process.wait(60) == 0
        finally:
            process.kill()
            showing.stop()
    with open_reader(path) as reader:
        assert reader.count(1) > 5
        assert reader.ended == "clean"


def stalled(meter: Plugged, path: Path, stall_s: float, ready: Callable[[Path], bool]) -> list[dict[str, object]]:
    """Record, stand still for so long as a suspended computer does, go on, end; the events that are found."""
    showing = Showing(meter)
    words = ["record", "--plain", "--quiet", "--meter", f"status14:{meter.port}", "--out", str(path)]
    process = subprocess.Popen([*MAIN, *words], stdout=subprocess.DEVNULL)
    try:
        until(lambda: ready(path))
        time.sleep(0.7)
        os.kill(process.pid, signal.SIGSTOP)
        time.sleep(stall_s)
        os.kill(process.pid, signal.SIGCONT)
        time.sleep(1.2)
        process.send_signal(signal.SIGINT)
        assert process.wait(60) == 0
    finally:
        process.kill()
        process.wait()
        showing.stop()
    done = subprocess.run([*MAIN, "analyze", str(path), "--json"], capture_output=True, text=True, check=True)
    events: list[dict[str, object]] = json.loads(done.stdout)["events"]
    return events


def has_readings(path: Path) -> bool:
    """Tell whether a recording has begun and holds some."""
    if not path.exists():
        return False
    with open_reader(path) as reader:
        return bool(reader.channels) and reader.count(1) > 5


@pytest.mark.skipif(sys.platform == "win32", reason="needs a process that can be stopped")
def test_what_waited_while_the_recorder_stood_still_is_dated_right(meter: Plugged, tmp_path: Path) -> None:
    path = tmp_path / "a.sqlite"
    assert stalled(meter, path, 2.0, has_readings) == []
    with open_reader(path) as reader:
        series = reader.series(1)
        _, down, up = reader.link_changes
    assert (down.up, up.up) == (False, True)
    assert "stood still" in down.cause
    assert 1.5 < up.time_s - down.time_s < 4.0
    inside = series.between(down.time_s, up.time_s)
    assert np.diff(inside.time_s).max() < 0.5
    assert inside.time_error_s.max() > 0.0
