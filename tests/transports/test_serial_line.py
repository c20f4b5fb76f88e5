"""A serial line gives all its bytes with their arrival times, and says plainly why it does not open or has died."""

from __future__ import annotations

import errno
import os
import socket
import stat
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import NoReturn

import pytest
import serial

from meterlog.address import Address
from meterlog.errors import AddressError, LinkAbsent, LinkBusy, LinkError, LinkForbidden, LinkLost
from meterlog.transports import LineSettings, Link, Transport
from meterlog.transports.port_errors import open_failure
from meterlog.transports.serial_line import line_settings, serial_transport

fcntl = pytest.importorskip("fcntl", reason="needs pseudo-terminals")
termios = pytest.importorskip("termios", reason="needs pseudo-terminals")


@dataclass
class Pty:
    """Both ends of a pseudo-terminal."""

    master: int
    port: str

    def unplug(self) -> None:
        if self.master >= 0:
            os.close(self.master)
            self.master = -1


def new_pty() -> Pty:
    master, slave = os.openpty()
    port = os.ttyname(slave)
    os.close(slave)
    return Pty(master, port)


@pytest.fixture
def pty() -> Iterator[Pty]:
    made = new_pty()
    yield made
    made.unplug()


def transport(port: str, options: str = "", default: LineSettings | None = None) -> Transport:
    query = f"?{options}" if options else ""
    return serial_transport(Address.parse(f"status14:{port}{query}"), default or LineSettings())


def read_all(link: Link, count: int) -> bytes:
    data = b""
    while len(data) < count:
        chunk = link.read(2.0)
        assert chunk is not None, f"only {len(data)} of {count} bytes came"
        data += chunk.data
    return data


def test_bytes_come_whole_with_the_time_of_their_arrival(pty: Pty) -> None:
    with closing(transport(pty.port).open()) as link:
        before = time.monotonic()
        os.write(pty.master, bytes(range(256)))
        chunk = link.read(2.0)
        assert chunk is not None
        assert before <= chunk.arrival_s <= time.monotonic()
        assert chunk.data + read_all(link, 256 - len(chunk.data)) == bytes(range(256))


def test_one_read_takes_all_that_is_there(pty: Pty) -> None:
    with closing(transport(pty.port).open()) as link:
        os.write(pty.master, b"x" * 1000)
        chunk = link.read(2.0)
        assert chunk is not None
        assert len(chunk.data) == 1000


def test_a_silent_port_gives_nothing_after_the_timeout(pty: Pty) -> None:
    with closing(transport(pty.port).open()) as link:
        before = time.monotonic()
        assert link.read(0.05) is None
        assert time.monotonic() - before >= 0.04


def test_what_is_written_reaches_the_meter_unchanged(pty: Pty) -> None:
    with closing(transport(pty.port).open()) as link:
        link.write(b"*IDN?\n\r\x00\xff")
        assert os.read(pty.master, 100) == b"*IDN?\n\r\x00\xff"


def test_unplugging_while_a_read_waits_is_a_lost_link(pty: Pty) -> None:
    with closing(transport(pty.port).open()) as link:
        threading.Timer(0.05, pty.unplug).start()
        with pytest.raises(LinkLost, match=f"{pty.port} is gone: unplugged"):
            link.read(5.0)
        with pytest.raises(LinkLost):
            link.read(0.1)
        with pytest.raises(LinkLost):
            link.write(b"x")


@pytest.mark.parametrize(
    "death",
    [
        serial.SerialException("read failed: [Errno 5] Input/output error"),
        serial.SerialTimeoutException("Write timeout"),
        OSError(errno.EIO, "Input/output error"),
        OSError(errno.ENXIO, "Device not configured"),
        PermissionError(13, "ClearCommError failed"),
        termios.error(errno.EIO, "Input/output error"),
    ],
    ids=lambda death: f"{type(death).__module__}.{type(death).__name__}-{death.args[0]}",
)
@pytest.mark.parametrize("call", ["read", "in_waiting", "write", "timeout"])
def test_every_way_a_port_dies_is_one_lost_link(
    pty: Pty, monkeypatch: pytest.MonkeyPatch, death: Exception, call: str
) -> None:
    def die(*_: object) -> NoReturn:
        raise death

    with closing(transport(pty.port).open()) as link:
        monkeypatch.setattr(serial.Serial, call, property(die, die) if call in ("in_waiting", "timeout") else die)
        if call == "in_waiting":
            os.write(pty.master, b"ab")
            first = link.read(1.0)  # what had been read before the death is not lost
            assert first is not None
            assert first.data == b"a"
            monkeypatch.setattr(serial.Serial, "read", die)
        with pytest.raises(LinkLost) as caught:
            link.write(b"x") if call == "write" else link.read(0.25)
        assert caught.value.port == pty.port
        monkeypatch.undo()


def test_closing_from_another_thread_ends_a_waiting_read_at_once(pty: Pty) -> None:
    link = transport(pty.port).open()
    threading.Timer(0.05, link.close).start()
    before = time.monotonic()
    chunk = link.read(100.0)
    assert chunk is None
    assert time.monotonic() - before < 50.0
    link.close()
    with pytest.raises(LinkLost, match="was closed"):
        link.read(0.1)


def test_a_port_that_is_not_there() -> None:
    with pytest.raises(LinkAbsent, match="there is no port /dev/ttyNOPE"):
        transport("/dev/ttyNOPE").open()


def test_a_file_is_not_a_port(tmp_path: Path) -> None:
    file = tmp_path / "notes.txt"
    file.write_text("")
    with pytest.raises(LinkAbsent, match="is not a serial port"):
        transport(str(file)).open()
    with pytest.raises(LinkAbsent, match="is not a serial port"):
        transport(str(tmp_path)).open()


def test_two_links_to_one_port_are_refused(pty: Pty) -> None:
    with closing(transport(pty.port).open()), pytest.raises(LinkBusy, match=f"{pty.port} is in use by another program"):
        transport(pty.port).open()


@pytest.mark.skipif(not Path("/proc/self/fd").is_dir(), reason="needs /proc to tell who holds a port")
def test_a_busy_port_names_who_holds_it(pty: Pty) -> None:
    hold = (
        "import fcntl, os, sys, time; f = os.open(sys.argv[1], os.O_RDWR | os.O_NOCTTY);"
        " fcntl.flock(f, fcntl.LOCK_EX); print('held', flush=True); time.sleep(60)"
    )
    with subprocess.Popen([sys.executable, "-c", hold, pty.port], stdout=subprocess.PIPE) as holder:
        try:
            assert holder.stdout is not None
            assert holder.stdout.readline() == b"held\n"
            with pytest.raises(LinkBusy, match=rf"is in use by python\S* \(process {holder.pid}\): close that first"):
                transport(pty.port).open()
        finally:
            holder.kill()


def test_the_port_is_free_again_after_closing(pty: Pty) -> None:
    transport(pty.port).open().close()
    with closing(transport(pty.port).open()) as link, open(pty.port, "rb", buffering=0) as other:
        with pytest.raises(BlockingIOError):
            fcntl.flock(other, fcntl.LOCK_EX | fcntl.LOCK_NB)
        link.close()
        fcntl.flock(other, fcntl.LOCK_EX | fcntl.LOCK_NB)


def test_a_forbidden_port_says_which_group_to_join(tmp_path: Path) -> None:
    import grp

    port = tmp_path / "ttyUSB0"
    port.write_text("")
    group = grp.getgrgid(port.stat().st_gid).gr_name
    error = open_failure(str(port), serial.SerialException(errno.EACCES, f"could not open port {port}"))
    assert isinstance(error, LinkForbidden)
    assert f"group '{group}'" in str(error)
    assert f"usermod -a -G {group}" in str(error)


@pytest.mark.skipif(os.geteuid() == 0, reason="permissions do not bind root")
def test_a_port_without_permission_is_forbidden(pty: Pty) -> None:
    os.chmod(pty.port, stat.S_IWGRP)
    with pytest.raises(LinkForbidden):
        transport(pty.port).open()


WINDOWS_BUSY = "could not open port 'COM7': PermissionError(13, 'Access is denied.', None, 5)"
WINDOWS_ABSENT = "could not open port 'COM7': FileNotFoundError(2, 'The system cannot find the file', None, 2)"


@pytest.mark.parametrize(
    ("error", "expected"),
    [
        (OSError(errno.ENOENT, "No such file or directory"), LinkAbsent),
        (OSError(errno.ENXIO, "No such device or address"), LinkAbsent),
        (OSError(errno.ENODEV, "No such device"), LinkAbsent),
        (OSError(errno.EBUSY, "Device or resource busy"), LinkBusy),
        (OSError(errno.EAGAIN, "Resource temporarily unavailable"), LinkBusy),
        (OSError(errno.EACCES, "Permission denied"), LinkForbidden),
        (OSError(errno.EPERM, "Operation not permitted"), LinkForbidden),
        (termios.error(errno.ENOTTY, "Inappropriate ioctl for device"), LinkAbsent),
        (termios.error(errno.EIO, "Input/output error"), LinkAbsent),
        (serial.SerialException(WINDOWS_BUSY), LinkBusy),
        (serial.SerialException(WINDOWS_ABSENT), LinkAbsent),
        (serial.SerialException("something new"), LinkAbsent),
    ],
)
def test_every_refusal_has_its_own_plain_sentence(error: Exception, expected: type[LinkError]) -> None:
    mapped = open_failure("COM7", error)
    assert type(mapped) is expected
    assert mapped.port == "COM7"
    assert "COM7" in str(mapped)
    assert "\n" not in str(mapped)


def test_a_socket_url_is_a_line_without_wire_time() -> None:
    with socket.create_server(("127.0.0.1", 0)) as server:
        url = f"socket://127.0.0.1:{server.getsockname()[1]}"
        there = transport(url)
        assert there.byte_time_s == 0.0
        with closing(there.open()) as link:
            meter, _ = server.accept()
            with meter:
                meter.sendall(b"+0000 40")
                assert read_all(link, 8) == b"+0000 40"
                link.write(b"D")
                assert meter.recv(10) == b"D"
            with pytest.raises(LinkLost, match="the other end closed the connection"):
                link.read(2.0)


def test_nothing_behind_a_socket_url() -> None:
    with socket.create_server(("127.0.0.1", 0)) as server:
        url = f"socket://127.0.0.1:{server.getsockname()[1]}"
    with pytest.raises(LinkAbsent, match=f"nothing answers at {url}: Connection refused"):
        transport(url).open()


def test_an_unknown_kind_of_url_is_refused() -> None:
    with pytest.raises(AddressError, match="carrier"):
        transport("carrier://pigeon").open()


def test_line_settings_come_from_the_driver_and_the_address() -> None:
    default = LineSettings(2400, dtr=True, rts=False)
    assert line_settings(Address.parse("x:p"), default) == default
    changed = line_settings(Address.parse("x:p?baud=19230&line=7o1&dtr=off&rts=leave"), default)
    assert changed == LineSettings(19230, 7, "O", 1, dtr=False, rts=None)


@pytest.mark.parametrize("option", ["baud=fast", "baud=1", "line=9X3", "line=7O", "dtr=perhaps", "rts=2"])
def test_line_settings_that_cannot_be_understood_are_refused(option: str) -> None:
    with pytest.raises(AddressError, match=option.partition("=")[0]):
        line_settings(Address.parse(f"x:p?{option}"), LineSettings())


def test_an_address_without_a_port_is_refused() -> None:
    with pytest.raises(AddressError, match="does not name a port"):
        serial_transport(Address.parse("status14:"), LineSettings())


def test_wire_time_belongs_to_lines_only(pty: Pty) -> None:
    assert transport(pty.port).byte_time_s == 0.0
    assert transport("/dev/ttyUSB0", "baud=2400").byte_time_s == pytest.approx(10 / 2400)
    assert transport("rfc2217://host:1", "baud=2400").byte_time_s == pytest.approx(10 / 2400)


@pytest.mark.parametrize("state", [True, False, None])
def test_control_lines_are_set_as_asked_before_the_port_opens(
    pty: Pty, monkeypatch: pytest.MonkeyPatch, state: bool | None
) -> None:
    seen: list[tuple[bool, bool]] = []

    def note(port: serial.Serial) -> None:
        seen.append((port.dtr, port.rts))

    monkeypatch.setattr(serial.Serial, "_update_dtr_state", note)
    transport(pty.port, default=LineSettings(dtr=state, rts=state)).open().close()
    # pyserial's own default, and what systems do when a port is opened, is on
    assert seen == [(True, True) if state is None else (state, state)]


def test_starting_does_not_import_the_list_of_ports(pty: Pty) -> None:
    code = (
        "import sys; from meterlog.address import Address; from meterlog.transports import LineSettings;"
        "from meterlog.transports.serial_line import serial_transport;"
        f"serial_transport(Address.parse('x:{pty.port}'), LineSettings()).open().close();"
        "print('serial.tools.list_ports' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", code], capture_output=True, check=True).stdout == b"False\n"
