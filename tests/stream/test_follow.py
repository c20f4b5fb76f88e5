"""Other programs hear what a recording hears, at once and whole, and can never hold it up."""

from __future__ import annotations

import contextlib
import json
import os
import shutil
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import paho.mqtt.client as paho
import pytest
from paho.mqtt.enums import CallbackAPIVersion

import meterlog

RECORDINGS = Path(__file__).parents[2] / "recordings"
METERLOG = [sys.executable, "-m", "meterlog"]
RECORD = [*METERLOG, "record", "--meter", "sim:healthy-prime?seed=7", "--out", "a.sqlite"]


def _readings(path: Path) -> list[float]:
    with meterlog.open_session(path) as session:
        return [float(time_s) for time_s in session.frame().index]


def _told(lines: list[str], kind: str) -> list[dict[str, object]]:
    return [item for item in map(json.loads, lines) if item["type"] == kind]


def test_a_finished_session_is_told_whole() -> None:
    path = RECORDINGS / "key-on-suspect.sqlite"
    done = subprocess.run([*METERLOG, "follow", path], capture_output=True, text=True, check=True)
    lines = done.stdout.splitlines()
    assert [item["time_s"] for item in _told(lines, "reading")] == _readings(path)
    assert [item["name"] for item in _told(lines, "marker")] == ["key-on", "key-off"]
    assert [item["kind"] for item in _told(lines, "event")] == ["prime_pulse"]
    assert json.loads(lines[0])["version"] == 1
    assert json.loads(lines[-1]) == {"type": "end", "ended": "clean"}


def test_lines_come_while_it_is_recorded_and_nothing_else_does(tmp_path: Path) -> None:
    words = [*RECORD, "--for", "4", "--to", "-"]
    with subprocess.Popen(words, cwd=tmp_path, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as recording:
        assert recording.stdout is not None
        assert recording.stderr is not None
        lines: list[str] = []
        while not _told(lines, "reading"):
            lines.append(recording.stdout.readline())
        assert recording.poll() is None
        lines += recording.stdout.readlines()
        said = recording.stderr.read()
    assert recording.returncode == 0
    assert len(_told(lines, "reading")) == len(_readings(tmp_path / "a.sqlite"))
    assert "readings" in said


def test_a_listener_that_takes_nothing_holds_up_nothing(tmp_path: Path) -> None:
    read, write = os.pipe()
    os.set_blocking(write, False)
    with contextlib.suppress(BlockingIOError):
        while True:  # full from the beginning
            os.write(write, bytes(4096))
    os.set_blocking(write, True)
    words = [*RECORD, "--for", "3", "--to", "-"]
    done = subprocess.run(words, cwd=tmp_path, stdout=write, stderr=subprocess.PIPE, text=True, check=False)
    os.close(read)
    os.close(write)
    assert done.returncode == 0, done.stderr
    assert "did not take everything in time" in done.stderr
    assert len(_readings(tmp_path / "a.sqlite")) >= 8


def test_where_to_must_be_known(tmp_path: Path) -> None:
    done = subprocess.run([*RECORD, "--to", "telepathy"], cwd=tmp_path, capture_output=True, text=True, check=False)
    assert done.returncode == 2
    assert "must be - or mqtt://HOST/TOPIC" in done.stderr
    assert not list(tmp_path.iterdir())


@pytest.fixture
def broker() -> Iterator[int]:
    """A real MQTT broker; its port."""
    program = shutil.which("mosquitto", path=f"{os.environ['PATH']}:/usr/sbin")
    if program is None and not os.environ.get("CI"):
        pytest.skip("there is no mosquitto")
    assert program is not None
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = int(free.getsockname()[1])
    running = subprocess.Popen([program, "-p", str(port)], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    try:
        for _ in range(100):
            with socket.socket() as probe:
                if probe.connect_ex(("127.0.0.1", port)) == 0:
                    break
            time.sleep(0.05)
        yield port
    finally:
        running.terminate()
        running.wait()


def test_a_broker_gets_each_reading_and_how_it_stands(tmp_path: Path, broker: int) -> None:
    got: list[tuple[str, bytes]] = []
    ended = threading.Event()

    def heard(_client: paho.Client, _data: object, message: paho.MQTTMessage) -> None:
        got.append((message.topic, bytes(message.payload)))
        if (message.topic, message.payload) == ("van/state", b"ended"):
            ended.set()

    listener = paho.Client(CallbackAPIVersion.VERSION2)
    listener.on_message = heard
    listener.connect("127.0.0.1", broker)
    listener.subscribe("van/#", qos=1)
    listener.loop_start()
    words = [*RECORD, "--for", "3", "--to", f"mqtt://127.0.0.1:{broker}/van"]
    subprocess.run(words, cwd=tmp_path, check=True, capture_output=True)
    assert ended.wait(60)
    listener.loop_stop()
    assert got[0] == ("van/state", b"recording")
    readings = [json.loads(payload)["time_s"] for topic, payload in got if topic == "van/reading/1"]
    assert readings == _readings(tmp_path / "a.sqlite")


def test_no_broker_is_said_and_the_recording_goes_on(tmp_path: Path) -> None:
    words = [*RECORD, "--for", "2", "--to", "mqtt://127.0.0.1:9/van"]
    done = subprocess.run(words, cwd=tmp_path, capture_output=True, text=True, check=False)
    assert done.returncode == 0
    assert "no MQTT broker answers at 127.0.0.1:9" in done.stderr
    assert _readings(tmp_path / "a.sqlite")
