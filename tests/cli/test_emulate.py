"""emulate: a simulated meter on a real port, read by the real `record`."""

from __future__ import annotations

import contextlib
import csv
import json
import select
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from meterlog.cli import main
from meterlog.session import open_reader
from meterlog_drivers.simulated.scenarios import SCENARIOS

METERLOG = (sys.executable, "-m", "meterlog")

needs_pty = pytest.mark.skipif(sys.platform == "win32", reason="this system has no pseudo-terminals")


class Emulated:
    """A running `meterlog emulate`, and the lines that it printed at its start."""

    def __init__(self, *args: str) -> None:
        self.process = subprocess.Popen([*METERLOG, "emulate", *args], stdout=subprocess.PIPE, text=True)
        self.lines = [self.line()]
        while not self.lines[-1].endswith("Ctrl-C") and "takes" not in self.lines[-1]:
            self.lines.append(self.line())

    def line(self) -> str:
        assert self.process.stdout is not None
        line = self.process.stdout.readline()
        assert line, "it ended while it should say where the meter is"
        return line.rstrip("\n")

    @property
    def ports(self) -> list[str]:
        return [line for line in self.lines if not line.startswith(" ")]


@contextlib.contextmanager
def emulated(*args: str) -> Iterator[Emulated]:
    one = Emulated(*args)
    try:
        yield one
    finally:
        one.process.send_signal(signal.SIGINT)
        assert one.process.wait(5.0) in (0, 130)
        if one.process.stdout is not None:
            one.process.stdout.close()


def meterlog(*args: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [*METERLOG, *args], stdin=subprocess.DEVNULL, capture_output=True, text=True, timeout=30, check=False
    )


def shown_by(path: Path, channel: int = 1) -> list[float]:
    with path.open(encoding="utf-8") as file:
        return [float(row["value"]) for row in csv.DictReader(file) if row["channel"] == str(channel)]


def times_of(shown: Path) -> list[float]:
    """When each display was due."""
    with shown.open(encoding="utf-8") as file:
        return [float(row["time_s"]) for row in csv.DictReader(file)]


@needs_pty
def test_what_is_recorded_is_what_was_shown_and_the_prime_is_found_inside_its_error(tmp_path: Path) -> None:
    session, shown = tmp_path / "prime.sqlite", tmp_path / "shown.csv"
    speed = 2.0
    with emulated("healthy-prime", "--seed", "7", "--speed", str(speed), "--shown", str(shown)) as meter:
        port = meter.ports[0]
        assert meter.lines[0] == port, "the first line is the port and nothing else"
        assert f"meterlog record --meter status14:{port}" in "\n".join(meter.lines), "and a line says what to type"
        done = meterlog("record", "--meter", f"status14:{port}", "--for", "6", "--out", str(session))
    assert done.returncode == 0, done.stderr
    with open_reader(session) as reader:
        recorded, times = reader.series(1).value.tolist(), reader.series(1).time_s.tolist()
    displayed = shown_by(shown)
    assert len(recorded) > 10
    assert recorded == displayed[: len(recorded)]
    assert len(displayed) - len(recorded) <= 5, "no more than what was displayed while the recorder took its leave"
    analysis = json.loads(meterlog("analyze", str(session), "--json").stdout)
    (prime,) = [event for event in analysis["events"] if event["kind"] == "prime_pulse"]
    (true,) = SCENARIOS["healthy-prime"].run(7).truth
    assert true.duration_s is not None
    late = [t - due for t, due in zip(times, times_of(shown), strict=False)]
    busy_s = max(late) - min(late)  # what the machine added that plays the meter
    assert abs(prime["duration_s"] - true.duration_s / speed) <= prime["duration_error_s"] + busy_s


@needs_pty
def test_readings_bear_the_moment_of_their_display(tmp_path: Path) -> None:
    session, shown = tmp_path / "s.sqlite", tmp_path / "shown.csv"
    with emulated("healthy-prime", "--interval", "0.05", "--shown", str(shown)) as meter:
        meterlog("record", "--meter", f"status14:{meter.ports[0]}", "--for", "2", "--out", str(session))
    with open_reader(session) as reader:
        times = reader.series(1).time_s
    lateness = [t - due for t, due in zip(times.tolist(), times_of(shown), strict=False)]
    assert len(times) > 10
    early, late = min(lateness[: len(times) // 2]), min(lateness[len(times) // 2 :])
    lost_s = 0.05 * round((late - early) / 0.05)  # what a busy machine lost moves all later ones by whole displays
    assert abs(late - early - lost_s) < 0.05 / 4, "the best of each half is nearest to its own display"


@needs_pty
def test_a_scenario_with_several_test_points_has_a_port_for_each(tmp_path: Path) -> None:
    session = tmp_path / "s.sqlite"
    with emulated("corroded-ground", "--speed", "5") as meter:
        assert len(meter.ports) == 2
        addresses = [word for port in meter.ports for word in ("--meter", f"status14:{port}")]
        done = meterlog("record", *addresses, "--for", "1.5", "--out", str(session))
        assert done.returncode == 0, done.stderr
    with open_reader(session) as reader:
        highest = {c.address: reader.series(c.number).value.max() for c in reader.channels}
    feed, ground = (highest[f"status14:{port}"] for port in meter.ports)
    assert feed > 11.0
    assert 1.0 < ground < 8.0


def test_columns_and_tcp(tmp_path: Path) -> None:
    session, shown = tmp_path / "s.sqlite", tmp_path / "shown.csv"
    options = ("--driver", "text?profile=columns", "--tcp", "0", "--speed", "8", "--shown", str(shown))
    with emulated("drop-test", *options) as meter:
        (port,) = meter.ports
        assert port.startswith("socket://127.0.0.1:")
        done = meterlog("record", "--meter", f"text:{port}?profile=columns", "--for", "1.4", "--out", str(session))
        assert done.returncode == 0, done.stderr
    with open_reader(session) as reader:
        assert [str(channel.quantity) for channel in reader.channels] == ["dc_voltage", "dc_voltage", "dc_current"]
        for channel in reader.channels:
            recorded = reader.series(channel.number).value.tolist()
            assert len(recorded) > 3
            assert recorded == shown_by(shown, channel.number)[: len(recorded)]


def test_a_bench_meter_answers_with_what_is_displayed(tmp_path: Path) -> None:
    session = tmp_path / "s.sqlite"
    with emulated("healthy-prime", "--driver", "scpi", "--tcp", "0", "--speed", "4") as meter:
        done = meterlog("record", "--meter", f"scpi:{meter.ports[0]}", "--for", "2.5", "--out", str(session))
        assert done.returncode == 0, done.stderr
    shown = set(SCENARIOS["healthy-prime"].run(0).readings[0].value.tolist())
    with open_reader(session) as reader:
        recorded = reader.series(1)
    assert set(recorded.value.tolist()) <= shown
    assert recorded.value.max() > 11.0
    assert 1 < len(recorded) < 40, "no more than one reading a display interval"


@needs_pty
def test_what_is_displayed_while_nobody_reads_is_lost_as_on_a_wire(tmp_path: Path) -> None:
    shown = tmp_path / "shown.csv"
    with emulated("healthy-prime", "--interval", "0.05", "--shown", str(shown)) as meter:
        time.sleep(0.3)
        assert len(shown.read_text("utf-8").splitlines()) == 1, "nothing is shown before the port is opened"
        first, second = tmp_path / "1.sqlite", tmp_path / "2.sqlite"
        for path in (first, second):
            meterlog("record", "--meter", f"status14:{meter.ports[0]}", "--for", "0.5", "--out", str(path))
        with open_reader(second) as reader:
            times = reader.series(1).time_s
    assert len(times) <= (times[-1] - times[0]) / 0.05 + 2.5, "no burst of old readings"


def test_once_ends_by_itself_after_a_lap() -> None:
    with emulated("healthy-prime", "--tcp", "0", "--speed", "20", "--once") as meter:
        number = int(meter.ports[0].rpartition(":")[2])
        received = b""
        with socket.create_connection(("127.0.0.1", number)) as link:
            while select.select([link], [], [], 5.0)[0] and (data := link.recv(4096)):
                received += data
        assert len(received) == 30 * 14
        assert meter.process.wait(5.0) == 0


@pytest.mark.parametrize(
    ("args", "words"),
    [
        (("helthy-prime",), "did you mean 'healthy-prime'"),
        ((), "name a scenario: healthy-prime"),
        (("healthy-prime", "--driver", "statis14"), "did you mean 'status14'"),
        (("healthy-prime", "--driver", "sim"), "does not send a stream of frames"),
        (("healthy-prime", "--driver", "gatt"), "does not send a stream of frames"),
        (("healthy-prime", "--driver", "status14?spair=x"), "did you mean 'spare'"),
        (("healthy-prime", "--driver", "scpi"), "--tcp PORT"),
        (("healthy-prime", "--interval", "0"), "--interval is 0.001 to 60 s"),
        (("wiggle-open", "--driver", "chars16"), "cannot show an overload of resistance"),
        (("healthy-prime", "--tcp", "99999"), "TCP port 99999 is not available"),
        (("healthy-prime", "--shown", "/nowhere/at/all.csv"), "cannot be written"),
    ],
)
def test_bad_words_are_one_line_and_exit_two(
    args: tuple[str, ...], words: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["emulate", *args]) == 2
    printed = capsys.readouterr()
    assert printed.out == ""
    assert words in printed.err
    assert len(printed.err.splitlines()) == 1


def test_a_tcp_port_that_is_taken_is_said_so(capsys: pytest.CaptureFixture[str]) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen(1)
        assert main(["emulate", "healthy-prime", "--tcp", str(taken.getsockname()[1])]) == 2
    assert "is not available" in capsys.readouterr().err


def test_the_list_names_every_scenario(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["emulate", "--list"]) == 0
    listed = capsys.readouterr().out
    assert [line.split()[0] for line in listed.splitlines()] == ["van", "fuse-box", *SCENARIOS]
