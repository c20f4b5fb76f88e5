"""The real `meterlog record`, a program of its own, on BLE meters: nothing lost, nothing twice, every outage named."""

from __future__ import annotations

import json
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from itertools import count
from pathlib import Path

import pytest

from meterlog.cli import main
from meterlog.driver.framing import framing_of
from meterlog.errors import NotASession
from meterlog.reading import Quantity, Reading
from meterlog.session import SessionReader, open_reader
from meterlog_drivers.simulated.bluetooth.bluez import SimulatedBluez
from meterlog_drivers.simulated.bluetooth.peripheral import SimulatedPeripheral

METER = "ble:00:00:5E:00:53:01?decoder=status14&search_s=1"
OTHER = "ble:00:00:5E:00:53:02?decoder=status14&search_s=1"


def counting() -> Iterator[bytes]:
    """Frames that show 0.01 V, 0.02 V and so on, so that a lost or doubled one shows."""
    meter = framing_of("status14:x").encoder()
    for n in count(1):
        yield meter.encode([Reading(0.0, n / 100, Quantity.DC_VOLTAGE, 0.01)])


def counts(reader: SessionReader, channel: int = 1) -> list[int]:
    """Tell which of the `counting` frames a channel holds."""
    return [round(value * 100) for value in reader.series(channel).value]


class Recording:
    """`meterlog record` in a process."""

    def __init__(self, out: Path, *words: str) -> None:
        command = [sys.executable, "-m", "meterlog", "record", "--plain", "--out", str(out), *words]
        self.out = out
        self.process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)

    def wait_for(self, condition: Callable[[], bool], timeout_s: float = 60.0) -> None:
        """Wait until something is so."""
        end_s = time.monotonic() + timeout_s
        while not condition():
            assert time.monotonic() < end_s, "waited in vain"
            assert self.process.poll() is None, self.process.communicate()
            time.sleep(0.1)

    def readings(self) -> int:
        """Return how many are in the session so far."""
        try:
            with open_reader(self.out) as reader:
                return sum(reader.count(channel.number) for channel in reader.channels)
        except NotASession:  # it is about to be made
            return 0

    def stop(self) -> SessionReader:
        """End it as Ctrl-C does; the session."""
        self.process.send_signal(signal.SIGINT)
        _, errors = self.process.communicate(timeout=30)
        assert self.process.returncode == 0, errors
        return open_reader(self.out)


@pytest.fixture
def start(tmp_path: Path) -> Iterator[Callable[..., Recording]]:
    """Begins recordings, and ends those that a failed test left."""
    begun: list[Recording] = []

    def begin(*words: str) -> Recording:
        begun.append(Recording(tmp_path / f"{len(begun)}.sqlite", *words))
        return begun[-1]

    yield begin
    for recording in begun:
        recording.process.kill()
        recording.process.communicate()


def record(*words: str) -> subprocess.CompletedProcess[str]:
    """Run `meterlog record` to its end."""
    command = [sys.executable, "-m", "meterlog", "record", "--plain", *words]
    return subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)


def test_two_meters_at_ten_a_second_lose_nothing(
    bluez: SimulatedBluez, meter: SimulatedPeripheral, start: Callable[..., Recording]
) -> None:
    other = bluez.add(replace(meter, address="00:00:5E:00:53:02"))
    bluez.stream(meter, counting(), 0.1)
    bluez.stream(other, counting(), 0.1)
    recording = start("--meter", METER, "--meter", OTHER)
    recording.wait_for(lambda: recording.readings() >= 40)
    with recording.stop() as reader:
        assert len(reader.channels) == 2
        for channel in (1, 2):
            found = counts(reader, channel)
            assert found == list(range(found[0], found[0] + len(found)))
            assert len(found) > 5


def test_a_link_that_falls_silent_is_noticed_in_three_seconds_and_made_anew(
    bluez: SimulatedBluez, meter: SimulatedPeripheral, start: Callable[..., Recording]
) -> None:
    bluez.stream(meter, counting(), 0.25)
    recording = start("--meter", METER)
    recording.wait_for(lambda: recording.readings() >= 5)
    meter.silent = True
    recording.wait_for(lambda: bluez.connects[meter.address] == 2)
    meter.silent = False
    before = recording.readings()
    recording.wait_for(lambda: recording.readings() > before)
    with recording.stop() as reader:
        found = counts(reader)
        assert found == sorted(set(found))
        assert [change.up for change in reader.link_changes] == [True, False, True]
        down = reader.link_changes[1]
        assert "no frame" in down.cause
        last_s = reader.series(1).between(0.0, down.time_s).time_s[-1]
        assert down.time_s - last_s < 3.0


def test_drops_cost_only_the_time_they_last(
    bluez: SimulatedBluez, meter: SimulatedPeripheral, start: Callable[..., Recording]
) -> None:
    bluez.stream(meter, counting(), 0.05)
    recording = start("--meter", METER)
    recording.wait_for(lambda: recording.readings() > 0)
    for links in range(2, 6):
        bluez.drop(meter)
        recording.wait_for(lambda n=links: bluez.connects[meter.address] == n and bluez.subscribers(meter) == 1)  # type: ignore[misc]
        before = recording.readings() + 2  # what was on its way when the link went
        recording.wait_for(lambda least=before: recording.readings() > least)  # type: ignore[misc]
    with recording.stop() as reader:
        found = counts(reader)
        assert found == sorted(set(found))
        downs = [change.cause for change in reader.link_changes if not change.up]
        assert len(downs) == 4
        assert all("dropped the link" in cause for cause in downs)
        assert bluez.connects[meter.address] == 5
    assert not bluez.is_connected(meter)  # free for the next program


def test_the_bluetooth_service_goes_and_comes_back_and_the_outage_is_a_gap(
    bluez: SimulatedBluez,
    meter: SimulatedPeripheral,
    start: Callable[..., Recording],
    capsys: pytest.CaptureFixture[str],
) -> None:
    bluez.stream(meter, counting(), 0.1)
    recording = start("--meter", f"{METER}&watchdog_s=1")
    recording.wait_for(lambda: recording.readings() >= 10)
    bluez.vanish()
    time.sleep(1.2)
    bluez.come_back()
    before = recording.readings()
    recording.wait_for(lambda: recording.readings() > before)
    with recording.stop() as reader:
        found = counts(reader)
        assert found == sorted(set(found))
        assert [change.up for change in reader.link_changes] == [True, False, True]
    assert main(["analyze", "--json", str(recording.out)]) == 0
    gaps = [event for event in json.loads(capsys.readouterr().out)["events"] if event["kind"] == "gap"]
    assert len(gaps) == 1
    assert gaps[0]["duration_s"] > 1.2


def test_not_found_refused_and_off_are_one_sentence_and_exit_2(
    bluez: SimulatedBluez, meter: SimulatedPeripheral, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "none.sqlite"
    address = METER.replace("search_s=1", "search_s=0.3")

    def said() -> str:
        assert main(["record", "--plain", "--out", str(out), "--meter", address]) == 2
        errors = capsys.readouterr().err
        assert errors.count("\n") == 1
        return errors

    meter.in_reach = False
    assert "is another program or phone connected to it?" in said()
    meter.in_reach = True
    meter.refuses["Connect"] = ("org.bluez.Error.AuthenticationFailed", "Authentication Failed")
    assert "refuses without pairing" in said()
    bluez.vanish()
    assert "bluetoothd" in said()
    assert not out.exists()


def test_off_is_one_sentence_and_exit_2(bluez: SimulatedBluez, tmp_path: Path) -> None:
    bluez.power("hci0", False)
    done = record("--out", str(tmp_path / "none.sqlite"), "--meter", METER)
    assert (done.returncode, done.stderr.count("\n")) == (2, 1)
    assert "Bluetooth is off" in done.stderr


@pytest.mark.usefixtures("meter")
def test_no_message_bus_is_one_sentence_and_exit_2(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("DBUS_SYSTEM_BUS_ADDRESS", f"unix:path={tmp_path}/none")
    done = record("--out", str(tmp_path / "none.sqlite"), "--meter", METER)
    assert (done.returncode, done.stderr.count("\n")) == (2, 1)
    assert "message bus (D-Bus)" in done.stderr
