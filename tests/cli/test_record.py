"""`meterlog record` from end to end: real frames on real pseudo-terminals into a session file."""

from __future__ import annotations

import itertools
import os
import re
import select
import shutil
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Protocol

import pytest

from meterlog.cli import main
from meterlog.reading import Quantity
from meterlog.session import SessionReader, open_reader

termios = pytest.importorskip("termios", reason="needs pseudo-terminals")


class Plugged(Protocol):
    """A meter on a pseudo-terminal: see tests/conftest.py."""

    port: Path

    def plug(self) -> None: ...
    def unplug(self) -> None: ...
    def show(self, value: float, quantity: Quantity = ..., resolution: float = ...) -> None: ...
    def send(self, data: bytes) -> None: ...


def record(*words: str) -> list[str]:
    return [sys.executable, "-m", "meterlog", "record", *words]


class Run:
    """A recording in a process of its own, whose output is read as it comes."""

    def __init__(self, command: list[str], **options: object) -> None:
        settings = {"stdin": subprocess.DEVNULL, "stdout": subprocess.PIPE, "stderr": subprocess.PIPE, **options}
        self.process: subprocess.Popen[bytes] = subprocess.Popen(command, **settings)  # type: ignore[call-overload]
        self.lines: list[str] = []
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()

    def _read(self) -> None:
        assert self.process.stdout is not None
        for line in self.process.stdout:
            self.lines.append(line.decode())

    def wait_for(self, words: str, meanwhile: Callable[[], None] = lambda: None, timeout_s: float = 60.0) -> None:
        give_up = time.monotonic() + timeout_s
        while not any(words in line for line in self.lines):
            assert time.monotonic() < give_up, f"'{words}' never came in {self.lines}"
            assert self.process.poll() is None or not self._reader.is_alive(), self.errors()
            meanwhile()
            time.sleep(0.02)

    def errors(self) -> str:
        assert self.process.stderr is not None
        return self.process.stderr.read().decode()

    def end(self, number: int | None = None) -> int:
        if number is not None:
            self.process.send_signal(number)
        status = self.process.wait(60)
        self._reader.join(5)
        return status


@pytest.fixture
def run() -> Iterator[Callable[..., Run]]:
    runs: list[Run] = []

    def begin(*words: str, **options: object) -> Run:
        runs.append(Run(record(*words), **options))
        return runs[-1]

    yield begin
    for one in runs:
        if one.process.poll() is None:
            one.process.kill()
        one.process.wait()
        for stream in (one.process.stdout, one.process.stderr):
            if stream is not None:
                stream.close()


@pytest.fixture
def out(tmp_path: Path) -> Path:
    return tmp_path / "out.sqlite"


def values(reader: SessionReader, channel: int) -> list[float]:
    return [round(float(v), 6) for v in reader.series(channel).value]


def left(out: Path) -> list[str]:
    return sorted(file.name for file in out.parent.glob("out*"))


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT, signal.SIGHUP])
def test_two_meters_at_once_until_a_signal(
    plug_in: Callable[[], Plugged], out: Path, run: Callable[..., Run], number: signal.Signals
) -> None:
    feed, ground = plug_in(), plug_in()
    going = run(
        "--meter", f"status14:{feed.port}?label=feed", "--meter", f"status14:{ground.port}?label=ground",
        "--out", str(out), "--set", "vehicle=blue van", "--set", "system_v=12",
    )  # fmt: skip
    going.wait_for("recording to")
    for i in range(40):
        feed.show(12 + i / 100)
        ground.show(i / 1000, resolution=0.001)
        time.sleep(0.01)
    time.sleep(0.2)
    assert going.end(number) == 0
    with open_reader(out) as reader:
        by_label = {channel.label: channel.number for channel in reader.channels}
        assert values(reader, by_label["feed"]) == [round(12 + i / 100, 2) for i in range(40)]
        assert values(reader, by_label["ground"]) == [round(i / 1000, 3) for i in range(40)]
        assert reader.details["vehicle"] == "blue van"
        assert reader.ended == "clean"
    assert left(out) == ["out.sqlite"]
    text = "".join(going.lines)
    assert text.index("caution: Never probe") < text.index("caution: Back-probe") < text.index("measuring")
    assert "What happened" in text or "Nothing found" in text
    assert going.errors() == ""


def test_an_unplugged_meter_comes_back_into_the_same_channel(
    meter: Plugged, out: Path, run: Callable[..., Run]
) -> None:
    going = run("--meter", f"status14:{meter.port}", "--out", str(out))
    going.wait_for("measuring", lambda: meter.show(1.0))
    meter.unplug()
    going.wait_for("is gone: unplugged")
    meter.plug()
    going.wait_for("readings again after", lambda: meter.show(2.0))
    assert going.end(signal.SIGTERM) == 0
    with open_reader(out) as reader:
        assert set(values(reader, 1)) == {1.0, 2.0}
        assert [change.up for change in reader.link_changes] == [True, False, True]


def test_an_armed_capture_catches_a_two_second_prime_whole(meter: Plugged, out: Path, run: Callable[..., Run]) -> None:
    going = run(
        "--meter", f"status14:{meter.port}?label=feed", "--out", str(out),
        "--armed", "rise 6V", "--before", "0.5", "--after", "2.5", "--events", "1",
    )  # fmt: skip
    going.wait_for("waiting for rise 6V")
    began = time.monotonic()
    shown_s: list[float] = []
    while going.process.poll() is None and time.monotonic() < began + 15:
        shown_s.append(time.monotonic() - began)
        meter.show(12.4 if 0.8 <= shown_s[-1] < 2.8 else 0.01)
        time.sleep(0.05)
    assert going.end() == 0
    on = [time_s for time_s in shown_s if 0.8 <= time_s < 2.8]
    pause_s = max(after - before for before, after in itertools.pairwise(shown_s)) + 0.03  # by a busy machine's leave
    with open_reader(out) as reader:
        kept = reader.series(1)
        on_s = kept.time_s[kept.value > 6]
        assert len(on_s) == len(on), "whole: every reading of it"
        assert on_s[-1] - on_s[0] == pytest.approx(on[-1] - on[0], abs=0.05 + pause_s)
        assert 0.5 - pause_s <= on_s[0] - kept.time_s[0] <= 0.5
        assert 2.5 - pause_s <= kept.time_s[-1] - on_s[0] <= 2.5
    text = "".join(going.lines)
    assert "'rise 6V' came 1 time" in text
    assert "PRIME" in text


def test_closed_standard_streams_do_not_stop_it(meter: Plugged, out: Path) -> None:
    command = " ".join(["exec", *record("--meter", f"status14:{meter.port}", "--out", str(out), "--for", "0.6")])
    process = subprocess.Popen(["sh", "-c", f"{command} <&- >&- 2>&-"])
    while process.poll() is None:
        meter.show(3.3)
        time.sleep(0.02)
    assert process.wait() == 0
    with open_reader(out) as reader:
        assert set(values(reader, 1)) == {3.3}


def test_a_reader_of_the_output_that_goes_away_does_not_stop_it(meter: Plugged, out: Path) -> None:
    readable, writable = os.pipe()
    os.close(readable)
    process = subprocess.Popen(
        record("--meter", f"status14:{meter.port}", "--out", str(out), "--for", "1.5"),
        stdin=subprocess.DEVNULL, stdout=writable, stderr=subprocess.PIPE,
    )  # fmt: skip
    os.close(writable)
    assert process.stderr is not None
    with process.stderr:
        while process.poll() is None:
            meter.show(3.3)
            time.sleep(0.02)
        assert process.stderr.read() == b""
    assert process.returncode == 0
    with open_reader(out) as reader:
        assert reader.duration_s > 1


def test_a_full_disk_ends_it_with_a_reason_and_what_was_written(
    meter: Plugged, out: Path, run: Callable[..., Run]
) -> None:
    import resource

    def small_disk() -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (150_000, 150_000))

    going = run("--meter", f"status14:{meter.port}", "--out", str(out), "--quiet", preexec_fn=small_disk)
    shown = 0
    while going.process.poll() is None and shown < 20_000:
        meter.show(shown % 1000 / 100)
        shown += 1
        time.sleep(0.002)
    assert going.end() == 2
    errors = going.errors()
    assert len(errors.splitlines()) == 1, errors
    assert str(out) in errors
    with open_reader(out) as reader:
        kept = values(reader, 1)
        assert reader.ended == "hard"
    assert 0 < len(kept) < shown
    # contiguous: nothing in the middle is missing
    assert all(round(b - a, 2) in (0.01, -9.99) for a, b in itertools.pairwise(kept))


def test_a_removed_folder_ends_it_with_a_reason(meter: Plugged, tmp_path: Path, run: Callable[..., Run]) -> None:
    stick = tmp_path / "stick"
    stick.mkdir()
    going = run("--meter", f"status14:{meter.port}", "--out", str(stick / "out.sqlite"))
    going.wait_for("measuring", lambda: meter.show(1.0))
    shutil.rmtree(stick)
    assert going.end() == 2
    errors = going.errors()
    assert len(errors.splitlines()) == 1, errors
    assert "was removed or moved while it was being recorded" in errors


class Terminal:
    """A pseudo-terminal with `meterlog record` in its foreground."""

    def __init__(self, command: list[str]) -> None:
        self.master, self.slave = os.openpty()
        termios.tcsetwinsize(self.slave, (30, 140))
        self.before = termios.tcgetattr(self.slave)
        self.seen = b""
        self.process = subprocess.Popen(
            command, stdin=self.slave, stdout=self.slave, stderr=self.slave, start_new_session=True,
            preexec_fn=self._control, env={**os.environ, "TERM": "xterm-256color"},
        )  # fmt: skip

    def _control(self) -> None:
        import fcntl

        fcntl.ioctl(self.slave, termios.TIOCSCTTY, 0)

    def read(self, timeout_s: float = 0.02) -> None:
        if select.select([self.master], [], [], timeout_s)[0]:
            try:
                self.seen += os.read(self.master, 65536)
            except OSError:
                pass

    def wait_for(self, words: bytes, meanwhile: Callable[[], None], timeout_s: float = 60.0) -> None:
        give_up = time.monotonic() + timeout_s
        while words not in self.seen:
            assert time.monotonic() < give_up, self.seen[-2000:].decode(errors="replace")
            meanwhile()
            self.read()

    def type(self, keys: bytes) -> None:
        os.write(self.master, keys)

    def end(self) -> int:
        while self.process.poll() is None:
            self.read()
        while select.select([self.master], [], [], 0.05)[0]:
            self.read()
        return self.process.returncode

    def close(self) -> None:
        if self.process.poll() is None:
            self.process.kill()
        self.process.wait()
        os.close(self.master)
        os.close(self.slave)


@pytest.fixture
def terminal() -> Iterator[Callable[..., Terminal]]:
    made: list[Terminal] = []

    def begin(*words: str) -> Terminal:
        made.append(Terminal(record(*words)))
        return made[-1]

    yield begin
    for one in made:
        one.close()


def test_the_live_view_shows_figures_takes_keys_and_puts_the_terminal_back(
    meter: Plugged, out: Path, terminal: Callable[..., Terminal]
) -> None:
    screen = terminal("--meter", f"status14:{meter.port}?label=pump", "--out", str(out))
    screen.wait_for(b"caution: Back-probe", lambda: meter.show(12.34))
    screen.wait_for(b"12.34 V", lambda: meter.show(12.34))
    screen.wait_for(b"q end", lambda: meter.show(12.34))
    assert termios.tcgetattr(screen.slave)[3] & (termios.ECHO | termios.ICANON) == 0
    screen.type(b"k")
    screen.wait_for(b"marker key-on", lambda: meter.show(12.34))
    screen.type(b"mwiggle at plux\x7fg\r")
    screen.wait_for(b"marker wiggle at plug", lambda: meter.show(12.34))
    screen.type(b"mnever mind\x1b")
    screen.type(b"\x1b[A")  # an arrow key is no Escape and no marker
    for _ in range(30):
        meter.show(4.0 if _ > 15 else 12.34)
        screen.read()
    screen.type(b"q")
    assert screen.end() == 0
    assert termios.tcgetattr(screen.slave) == screen.before
    assert b"\x1b[?25h" in screen.seen[screen.seen.rindex(b"\x1b[?25l") :]  # the cursor is shown again
    assert b"wiggle at plug" in screen.seen
    with open_reader(out) as reader:
        assert [marker.name for marker in reader.markers] == ["key-on", "wiggle at plug"]


def test_a_terminal_is_put_back_when_a_signal_ends_it(
    meter: Plugged, out: Path, terminal: Callable[..., Terminal]
) -> None:
    screen = terminal("--meter", f"status14:{meter.port}", "--out", str(out))
    screen.wait_for(b"q end", lambda: meter.show(1.0))
    screen.process.send_signal(signal.SIGTERM)
    assert screen.end() == 0
    assert termios.tcgetattr(screen.slave) == screen.before
    with open_reader(out) as reader:
        assert reader.ended == "clean"


def test_an_alarm_rings_the_bell(meter: Plugged, out: Path, terminal: Callable[..., Terminal]) -> None:
    screen = terminal("--meter", f"status14:{meter.port}", "--out", str(out), "--events", "1")
    screen.wait_for(b"12.40 V", lambda: meter.show(12.4))

    def overvoltage() -> None:
        began = time.monotonic()
        while time.monotonic() - began < 15 and screen.process.poll() is None:
            meter.show(16.0 if 1.0 < time.monotonic() - began < 2.0 else 12.4)
            screen.read(0.05)

    overvoltage()
    assert screen.end() == 0
    assert b"overvoltage" in screen.seen
    assert b"\x07" in screen.seen


# What cannot be recorded: one line, status 2, no file left.


def refused(capsys: pytest.CaptureFixture[str], *words: str) -> str:
    assert main(["record", *words]) == 2
    errors = capsys.readouterr().err
    assert errors.startswith("meterlog: ")
    assert len(errors.splitlines()) == 1
    return errors


def test_an_absent_port(out: Path, capsys: pytest.CaptureFixture[str]) -> None:
    error = refused(capsys, "--meter", "status14:/dev/ttyNOPE", "--out", str(out))
    assert "there is no port /dev/ttyNOPE" in error
    assert left(out) == []


def test_a_port_that_another_program_holds(meter: Plugged, out: Path, capsys: pytest.CaptureFixture[str]) -> None:
    import fcntl

    with open(meter.port, "rb", buffering=0) as holder:
        fcntl.flock(holder, fcntl.LOCK_EX)
        assert "is in use by" in refused(capsys, "--meter", f"status14:{meter.port}", "--out", str(out))
    assert left(out) == []


def test_the_same_port_twice(meter: Plugged, out: Path, capsys: pytest.CaptureFixture[str]) -> None:
    address = f"status14:{meter.port}"
    said = refused(capsys, "--meter", address, "--meter", address, "--out", str(out))
    assert "are the same device: give each meter once" in said
    assert left(out) == []


def test_the_wrong_driver(meter: Plugged, out: Path, capsys: pytest.CaptureFixture[str]) -> None:
    def send() -> None:
        while not done.wait(0.01):
            meter.show(12.34)

    done = threading.Event()
    sender = threading.Thread(target=send)
    sender.start()
    try:
        error = refused(capsys, "--meter", f"segments14:{meter.port}", "--out", str(out), "--for", "10")
    finally:
        done.set()
        sender.join()
    assert "none fit segments14" in error
    assert "31 32 33 34" in error
    assert left(out) == []


def test_a_few_bytes_that_fit_nothing(meter: Plugged, out: Path, capsys: pytest.CaptureFixture[str]) -> None:
    threading.Timer(0.5, meter.send, [b"hello\x00\xff"]).start()
    error = refused(capsys, "--meter", f"status14:{meter.port}", "--out", str(out), "--for", "1")
    assert "no frame fits" in error
    assert "68 65 6c 6c 6f 00 ff" in error
    assert left(out) == []


def test_a_meter_that_is_off(meter: Plugged, out: Path, capsys: pytest.CaptureFixture[str]) -> None:
    error = refused(capsys, "--meter", f"status14:{meter.port}", "--out", str(out), "--for", "0.3")
    assert "no readings came" in error
    assert "is the meter on" in error
    assert left(out) == []


def test_a_file_that_exists_is_not_touched(meter: Plugged, out: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out.write_text("precious")
    assert "exists already" in refused(capsys, "--meter", f"status14:{meter.port}", "--out", str(out))
    assert out.read_text() == "precious"
    missing = out.parent / "nowhere" / "out.sqlite"
    assert "nowhere" in refused(capsys, "--meter", f"status14:{meter.port}", "--out", str(missing))


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--meter", "ttyUSB0"], "is not an address"),
        (["--meter", "status15:/dev/ttyUSB0"], "did you mean 'status14'"),
        (["--meter", "status14:/dev/ttyUSB0?bauds=9600"], "did you mean 'baud'"),
        (["--meter", "status14:/dev/ttyUSB0?line=8Q1"], "8N1"),
        (["--meter", "status14:/dev/ttyUSB0", "--armed", "six volts"], "is not a condition"),
        (["--meter", "status14:/dev/ttyUSB0", "--before", "3"], "need --armed"),
        (["--meter", "status14:/dev/ttyUSB0", "--set", "blue van"], "KEY=VALUE"),
        (["--meter", "replay:/no/such/file"], "there is no file"),
    ],
)
def test_words_that_do_not_fit_together(
    words: list[str], said: str, out: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert said in refused(capsys, *words, "--out", str(out))
    assert left(out) == []


def test_raw_bytes_of_a_meter_that_has_none(out: Path, capsys: pytest.CaptureFixture[str]) -> None:
    address = "sim:healthy-prime"
    assert "no bytes" in refused(capsys, "--meter", address, "--raw", "--out", str(out))
    assert left(out) == []


@pytest.mark.parametrize("words", [["--for", "long"], ["--for", "-1"], ["--events", "0"], ["--events", "1.5"]])
def test_numbers_that_are_none(words: list[str], out: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as caught:
        main(["record", "--meter", "status14:/dev/ttyUSB0", "--out", str(out), *words])
    assert caught.value.code == 2
    assert f"must be a {'number of seconds' if words[0] == '--for' else 'whole number'}" in capsys.readouterr().err


def test_a_file_named_by_the_time_is_made_where_none_is_named(
    meter: Plugged, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    threading.Timer(0.2, meter.show, [1.5]).start()
    assert main(["record", "--meter", f"status14:{meter.port}", "--for", "2"]) == 0
    (made,) = tmp_path.glob("20*.sqlite")
    with open_reader(made) as reader:
        assert values(reader, 1) == [1.5]


def test_recording_and_its_report_import_nothing_heavy(meter: Plugged, out: Path) -> None:
    code = (
        "import sys; from meterlog.cli import main; status = main(sys.argv[1:]);"
        "print('heavy:', {'pandas', 'scipy', 'plotly', 'dash', 'pyarrow', 'bleak', 'serial.tools.list_ports'}"
        " & set(sys.modules)); sys.exit(status)"
    )
    words = ["record", "--meter", f"status14:{meter.port}", "--out", str(out), "--for", "0.5"]
    process = subprocess.Popen([sys.executable, "-c", code, *words], stdout=subprocess.PIPE)
    while process.poll() is None:
        meter.show(12.4)
        time.sleep(0.02)
    assert process.stdout is not None
    with process.stdout:
        assert process.stdout.read().decode().endswith("heavy: set()\n")
    assert process.returncode == 0


@pytest.mark.parametrize(
    ("words", "count", "absent"), [((), 9, "caution: Battery gas"), (("--quiet",), 2, "caution: Fuel vapour")]
)
def test_only_the_cautions_that_fit_are_said_once(
    out: Path, run: Callable[..., Run], words: tuple[str, ...], count: int, absent: str
) -> None:
    going = run("--meter", "sim:healthy-prime?speed=20&label=pump+feed", "--for", "0.5", "--out", str(out), *words)
    assert going.end(None) == 0
    said = [line for line in going.lines if line.startswith("caution: ")]
    assert len(said) == count
    assert len(set(said)) == count
    assert absent not in "".join(going.lines)


def test_the_first_reading_is_said_at_once(meter: Plugged, out: Path, run: Callable[..., Run]) -> None:
    going = run("--meter", f"status14:{meter.port}?label=feed", "--out", str(out))
    going.wait_for("recording to")
    meter.show(12.34)
    going.wait_for("feed: 12.34 V")


def test_in_a_small_terminal_nothing_is_cut_and_the_verdict_is_last(
    out: Path, terminal: Callable[..., Terminal]
) -> None:
    screen = terminal("--meter", "sim:healthy-prime?speed=8&label=pump+feed", "--for", "1.5", "--out", str(out))
    termios.tcsetwinsize(screen.slave, (24, 40))
    assert screen.end() == 0
    seen = re.sub(rb"\x1b\[[0-9;?]*[A-Za-z]", b"", screen.seen).decode().replace("\r", "")
    assert "min " in seen
    assert "gaps " in seen
    last = seen.rstrip().rpartition("In short: ")[2]
    assert " within" in last or "nothing to judge" in last
    assert last.count("\n") < 20
