"""An adapter that was unplugged is found again under its new name, and never mistaken for another."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest
from serial.tools.list_ports_common import ListPortInfo

from meterlog.address import Address
from meterlog.errors import LinkAbsent
from meterlog.transports import LineSettings, serial_line
from meterlog.transports.serial_line import serial_transport
from meterlog.transports.usb_port import UsbIdentity, identify, locate


def adapter(device: str, number: str | None = None, location: str | None = None, product: int = 0x6001) -> ListPortInfo:
    info = ListPortInfo(device, skip_link_detection=True)
    info.vid, info.pid, info.serial_number, info.location = 0x0403, product, number, location
    return info


def identity(info: ListPortInfo) -> UsbIdentity:
    found = identify(info.device, [info])
    assert found is not None
    return found


def test_a_serial_number_is_found_under_any_name() -> None:
    wanted = identity(adapter("/dev/ttyUSB0", "A1"))
    assert locate(wanted, [adapter("/dev/ttyUSB0", "B2"), adapter("/dev/ttyUSB3", "A1")]) == "/dev/ttyUSB3"
    assert locate(wanted, [adapter("/dev/ttyUSB0", "B2")]) is None
    assert locate(wanted, []) is None


def test_the_only_adapter_of_its_kind_needs_no_number() -> None:
    wanted = identity(adapter("/dev/ttyUSB0"))
    assert locate(wanted, [adapter("/dev/ttyUSB1"), adapter("/dev/ttyUSB0", product=0x7523)]) == "/dev/ttyUSB1"


def test_of_two_alike_the_old_socket_decides_then_the_old_name_never_a_guess() -> None:
    wanted = identity(adapter("/dev/ttyUSB0", location="1-1"))
    there = [adapter("/dev/ttyUSB0", location="1-2"), adapter("/dev/ttyUSB1", location="1-1")]
    assert locate(wanted, there) == "/dev/ttyUSB1"
    there = [adapter("/dev/ttyUSB0", location="1-3"), adapter("/dev/ttyUSB1", location="1-2")]
    assert locate(wanted, there) == "/dev/ttyUSB0"
    there = [adapter("/dev/ttyUSB5", location="1-3"), adapter("/dev/ttyUSB1", location="1-2")]
    assert locate(wanted, there) is None


def test_a_port_that_is_no_usb_adapter_has_no_identity() -> None:
    plain = ListPortInfo("/dev/ttyS0", skip_link_detection=True)
    assert identify("/dev/ttyS0", [plain]) is None


def test_a_link_to_a_port_is_identified(tmp_path: Path) -> None:
    link = tmp_path / "by-id"
    link.symlink_to("/dev/ttyUSB9")
    found = identify(str(link), [adapter("/dev/ttyUSB9", "A1")])
    assert found is not None
    assert found.device == "/dev/ttyUSB9"


@pytest.fixture
def ptys() -> Iterator[list[tuple[int, str]]]:
    pytest.importorskip("termios", reason="needs pseudo-terminals")
    made = []
    for _ in range(2):
        master, slave = os.openpty()
        made.append((master, os.ttyname(slave)))
        os.close(slave)
    yield made
    for master, _ in made:
        os.close(master)


def test_reopening_follows_the_adapter_to_its_new_name(
    ptys: list[tuple[int, str]], monkeypatch: pytest.MonkeyPatch
) -> None:
    (_, old), (new_master, new) = ptys
    listed = [adapter(old, "A1")]
    monkeypatch.setattr(serial_line, "ports", lambda: listed)
    monkeypatch.setattr(serial_line, "_may_be_usb", lambda device: device in (old, new))
    transport = serial_transport(Address.parse(f"status14:{old}"), LineSettings())
    transport.open().close()

    listed[:] = [adapter(old, "B2"), adapter(new, "A1")]
    with closing(transport.open()) as link:
        os.write(new_master, b"here")
        chunk = link.read(2.0)
        assert chunk is not None
        assert chunk.data == b"here"

    listed[:] = [adapter(old, "B2")]
    with pytest.raises(LinkAbsent, match="another one has that name now"):
        transport.open()
