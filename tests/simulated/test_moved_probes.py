"""`emulate van`: probes and key are moved by lines, on a real port too."""

from __future__ import annotations

import subprocess
import sys
import time
from pathlib import Path

import pytest

from meterlog.address import Address
from meterlog.cli import main
from meterlog.driver import load_driver
from meterlog.driver.framing import FramingDriver
from meterlog.errors import MeterlogError
from meterlog.session import open_reader
from meterlog_drivers.simulated.emulation.moved_probes import MovedProbes, line_for
from meterlog_drivers.simulated.measured import MeasuredVan
from meterlog_drivers.simulated.van.faults import faults_named
from tests.simulated.kept_port import Kept


def probes(fault: str) -> MovedProbes:
    driver = load_driver("status14")
    assert isinstance(driver, FramingDriver)
    van = MeasuredVan(faults_named(fault), 0)
    return MovedProbes(van, driver.encoder(Address.parse("status14:x")), Kept(), 1.0, {})


@pytest.mark.parametrize(
    ("line", "answer"),
    [
        ("fuse out", "probes from fuse_out to battery_minus at key-on"),
        (
            "plug_feed to plug_ground, unplugged, crank",
            "probes from plug_feed to plug_ground while cranking, unplugged",
        ),
        ("ohms plug_ground to body", "probes from plug_ground to body isolated"),
        ("drop relay", "probes across relay at key-on"),
        ("amps fuse", "probes through fuse at key-on"),
        ("lamp plug_feed", "dim, on a 5 W lamp from plug_feed to battery_minus at key-on"),
        ("look prime_heard", "prime_heard: no"),
        ("reveal", "relay has 1.6 ohm too much"),
        ("repaired relay", "relay is put right"),
    ],
)
def test_a_line_is_done_and_answered(line: str, answer: str) -> None:
    assert probes("relay:1.6").do(line) == answer


def test_what_was_put_right_is_sound_and_is_still_revealed() -> None:
    one = probes("relay:1.6")
    one.do("repaired relay")
    assert one.do("look prime_heard") == "prime_heard: yes"
    assert one.do("reveal") == "relay has 1.6 ohm too much"


@pytest.mark.parametrize("line", ["fuse owt", "ohms", "plug_feed to", "ohms plug_feed, crank", "dance"])
def test_a_line_that_says_nothing_is_one_sentence(line: str) -> None:
    with pytest.raises(MeterlogError):
        probes("none").do(line)


@pytest.mark.parametrize(
    "row",
    [
        {"at": "plug_feed", "to": "plug_ground", "load": "unplugged", "state": "crank"},
        {"at": "plug_feed", "to": "plug_ground", "quantity": "resistance", "load": "unplugged", "side": "harness"},
        {"at": "fuse", "quantity": "current"},
        {"at": "relay", "quantity": "voltage_drop"},
        {"at": "relay_coil"},
    ],
)
def test_the_line_for_a_measurement_measures_it(row: dict[str, str]) -> None:
    place = MeasuredVan().place(row)
    assert probes("none").do(line_for(place)) == f"probes {place.place}"


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="this system has no pseudo-terminals")
def test_on_a_real_port_a_recording_sees_the_probes_move(tmp_path: Path) -> None:
    words = [sys.executable, "-m", "meterlog", "emulate", "van", "--fault", "fuse", "--speed", "4"]
    with subprocess.Popen(words, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        assert process.stdin is not None
        port = process.stdout.readline().strip()
        out = tmp_path / "moved.sqlite"
        recording = subprocess.Popen(
            [
                sys.executable,
                "-m",
                "meterlog",
                "record",
                "--meter",
                f"status14:{port}",
                "--for",
                "4",
                "--out",
                str(out),
            ],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
        )
        try:
            time.sleep(2.5)
            process.stdin.write("fuse_in, off\n")
            process.stdin.flush()
            assert recording.wait(60) == 0
        finally:
            recording.kill()
            process.kill()
    with open_reader(out) as reader:
        values = reader.series(1).value
    assert abs(values[0]) < 0.1
    assert values[-1] == pytest.approx(12.4, abs=0.4)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["van", "--fault", "fuze"], "did you mean 'fuse'"),
        (["van", "--once"], "without --ble, --once"),
        (["healthy-prime", "--fault", "fuse"], "--fault is for 'emulate van'"),
    ],
)
def test_a_wrong_command_is_one_sentence(words: list[str], said: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["emulate", *words]) == 2
    assert said in capsys.readouterr().err
