"""USB-HID cables are listed beside ports and carry any framing; what is missing is said. The chip is a stand-in."""

from __future__ import annotations

import sys
import time
from pathlib import Path
from queue import Empty, SimpleQueue
from types import SimpleNamespace

import pytest

from meterlog.address import Address
from meterlog.cli.main import main
from meterlog.driver.framing import framing_of
from meterlog.errors import LinkAbsent, LinkForbidden, LinkLost
from meterlog.reading import Flag, Quantity, Reading
from meterlog.session import open_reader
from meterlog.transports import LineSettings, Link, hid_cable
from meterlog.transports.serial_line import serial_transport
from tests.waiting import record_some, until

FRAME = framing_of("status14:x").encoder().encode([Reading(0.0, 12.34, Quantity.DC_VOLTAGE, 0.01, Flag.DC)])
PATH = "/dev/hidraw77"
pytestmark = pytest.mark.filterwarnings("ignore:set(Daemon|Name):DeprecationWarning")  # of pyserial's handler


class Chip:
    """A HID-to-UART chip as the library shows it, with a meter behind it that sends one frame over and over."""

    def __init__(self, bus: Bus) -> None:
        self._bus, self._open = bus, False
        self._bytes: SimpleQueue[int] = SimpleQueue()

    def open_path(self, path: bytes) -> None:
        if path.decode() not in self._bus.plugged:
            raise OSError("open failed")
        self._path, self._open = path.decode(), True

    def send_feature_report(self, report: bytes) -> int:
        self._bus.reports.append(bytes(report))
        return len(report)

    def read(self, size: int, timeout_ms: int) -> list[int]:
        """One report, of sizes that cut frames anywhere: its first byte says how many follow."""
        assert size == 64
        if self._path not in self._bus.plugged:
            raise OSError("read error")
        for byte in FRAME:
            self._bytes.put(byte)
        time.sleep(min(timeout_ms / 1000, 0.005))
        data: list[int] = []
        while len(data) < 9:
            try:
                data.append(self._bytes.get_nowait())
            except Empty:
                break
        return [len(data), *data]

    def write(self, report: bytes) -> int:
        self._bus.written.append(bytes(report))
        return len(report)

    def close(self) -> None:
        self._open = False


class Bus:
    """The USB bus, as the library shows it."""

    def __init__(self) -> None:
        self.plugged = [PATH]
        self.reports: list[bytes] = []
        self.written: list[bytes] = []

    def enumerate(self) -> list[dict[str, object]]:
        names = {"vendor_id": 0x10C4, "product_id": 0xEA80, "serial_number": "0042", "product_string": "UART bridge"}
        mouse = {"path": b"/dev/hidraw0", "vendor_id": 1, "product_id": 2, "serial_number": "", "product_string": ""}
        return [mouse, *({"path": path.encode(), **names} for path in self.plugged)]


@pytest.fixture
def bus(monkeypatch: pytest.MonkeyPatch) -> Bus:
    """A bus with one cable."""
    bus = Bus()
    library = SimpleNamespace(enumerate=bus.enumerate, device=lambda: Chip(bus))
    monkeypatch.setitem(sys.modules, "hid", library)
    from serial.urlhandler import protocol_cp2110

    monkeypatch.setattr(protocol_cp2110, "hid", library)
    return bus


def opened(path: str = PATH, line: LineSettings | None = None) -> Link:
    return serial_transport(Address.parse(f"status14:cp2110://{path}"), line or LineSettings(2400)).open()


def lost(link: Link, why: list[str]) -> bool:
    """Read once; whether the link is lost, and why."""
    try:
        link.read(0.2)
    except LinkLost as error:
        why.append(str(error))
    return bool(why)


@pytest.mark.usefixtures("bus")
def test_cables_are_listed_beside_ports_and_other_devices_are_not(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["meters"]) == 0
    said = capsys.readouterr().out
    assert f"cp2110://{PATH}  UART bridge, USB 10c4:ea80, serial number 0042" in said
    assert "hidraw0" not in said


@pytest.mark.usefixtures("bus")
def test_a_meter_behind_one_is_found_by_listening_and_recorded(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["meters", f"cp2110://{PATH}", "--listen", "2"]) == 0
    assert f'meterlog record --meter "status14:cp2110://{PATH}' in capsys.readouterr().out
    out = tmp_path / "a.sqlite"
    record_some(out, "--meter", f"status14:cp2110://{PATH}", "--plain")
    with open_reader(out) as reader:
        assert set(reader.series(1).value) == {12.34}


def test_line_settings_are_sent_once_whatever_the_timeouts(bus: Bus) -> None:
    link = opened(line=LineSettings(19200, 7, "O", 1))
    settings = [report for report in bus.reports if report[0] == 0x50]
    for timeout_s in (0.01, 0.02, 0.03):
        link.read(timeout_s)
    link.write(b"*IDN?\n")
    link.close()
    assert settings == [report for report in bus.reports if report[0] == 0x50]
    assert settings == [b"\x50\x00\x00\x4b\x00\x01\x00\x02\x00"]  # rate, odd parity, no flow control, 7 bits, 1 stop
    assert bus.written == [b"\x06*IDN?\n"]


def test_a_cable_that_is_pulled_out_is_a_lost_link_and_comes_back_under_another_name(bus: Bus) -> None:
    transport = serial_transport(Address.parse(f"status14:cp2110://{PATH}"), LineSettings(2400))
    link = transport.open()
    assert link.read(1.0) is not None
    bus.plugged = []
    why: list[str] = []
    until(lambda: lost(link, why))
    assert why == [f"cp2110://{PATH} is gone: unplugged or switched off"]
    link.close()
    with pytest.raises(LinkAbsent, match="there is no cable"):
        transport.open()
    bus.plugged = ["/dev/hidraw78"]
    again = transport.open()
    assert again.read(1.0) is not None
    again.close()


@pytest.mark.usefixtures("bus")
def test_a_path_of_any_system_reaches_the_library_whole(bus: Bus) -> None:
    for path in (r"\\?\hid#vid_10c4&pid_ea80#6&1f#{4d1e}", "1-2:1.0", "0001:0023:00"):
        bus.plugged = [path]
        (cable,) = hid_cable.cables()
        target = Address.parse(str(Address("status14", cable.device))).target
        link = serial_transport(Address("status14", target), LineSettings(2400)).open()
        assert link.read(1.0) is not None
        link.close()


def test_without_the_extra_its_name_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "hid", None)
    assert hid_cable.cables() == []
    with pytest.raises(LinkAbsent, match=r"pip install 'meterlog\[hid\]'"):
        opened()


def test_a_cable_that_belongs_to_the_administrator_says_so(
    bus: Bus, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "hidraw1"
    path.touch()
    monkeypatch.setattr("os.access", lambda *_: False)
    with pytest.raises(LinkForbidden, match="udev rule"):
        opened(str(path))
    assert bus.plugged == [PATH]
