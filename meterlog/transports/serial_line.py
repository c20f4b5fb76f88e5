"""Serial lines, on pyserial: device names, COM ports, `socket://HOST:PORT`, `rfc2217://HOST:PORT`, and USB-HID cables,
`cp2110://PATH` (see `hid_cable.py`).
"""

from __future__ import annotations

import os
import re
import sys
import threading
import time

from meterlog.address import Address
from meterlog.errors import AddressError, LinkAbsent, LinkLost
from meterlog.transports import hid_cable
from meterlog.transports.contract import Chunk, LineSettings, Link, Transport
from meterlog.transports.port_errors import open_failure
from meterlog.transports.usb_port import UsbIdentity, identify, locate, ports

if sys.platform == "win32":
    _PORT_DIES: tuple[type[Exception], ...] = (OSError,)
else:
    import termios

    _PORT_DIES = (OSError, termios.error)
"""Errors that pyserial lets through when a port is gone: its own SerialException (an OSError), bare OSErrors by system
and call, and termios.error, which is no OSError."""

LINE_OPTIONS = frozenset({"baud", "line", "dtr", "rts"})
"""Address options of a serial line: `baud=2400`, `line=7O1`, `dtr=on|off|leave`, `rts=on|off|leave`."""

MOST_BYTES = 65536
"""At most this much in one chunk, so that a flood does not keep a read from returning."""

LOWEST_BAUD, HIGHEST_BAUD = 50, 4_000_000
"""Values the system's serial interface has names for (termios.h)."""
READ_S, WRITE_S = 0.5, 2.0
"""Time a read waits at first, and a write at all, s: a meter's buffer takes a command at once. Choices."""

_LINE = re.compile(r"([5-8])([NEOMS])([12])", re.IGNORECASE)
_SWITCH: dict[str, bool | None] = {"on": True, "1": True, "off": False, "0": False, "leave": None}
_UNPLUGGED = "unplugged or switched off"
_NO_LINE = ("socket://", "loop://")


def line_settings(address: Address, default: LineSettings) -> LineSettings:
    """The default line settings of a driver, changed by the address's options.

    Raises:
        AddressError: an option cannot be understood.
    """
    baud = address.number("baud", default.baud, least=LOWEST_BAUD, most=HIGHEST_BAUD)
    settings = default._replace(baud=round(baud))
    if (line := address.options.get("line")) is not None:
        match = _LINE.fullmatch(line)
        if match is None:
            raise AddressError(
                f"in '{address}' the option line must be data bits, parity and stop bits like 8N1 or 7O1, not '{line}'"
            )
        bits, parity, stop = match.groups()
        settings = settings._replace(data_bits=int(bits), parity=parity.upper(), stop_bits=int(stop))
    if "dtr" in address.options:
        settings = settings._replace(dtr=_SWITCH[address.choice("dtr", _SWITCH, "leave")])
    if "rts" in address.options:
        settings = settings._replace(rts=_SWITCH[address.choice("rts", _SWITCH, "leave")])
    return settings


def serial_transport(address: Address, default: LineSettings) -> Transport:
    """The serial line that an address names, with the driver's default settings changed by its options.

    Raises:
        AddressError: an option cannot be understood, or no port is named.
    """
    if not address.target:
        raise AddressError(
            f"'{address}' does not name a port: write {address.scheme}:/dev/ttyUSB0 or {address.scheme}:COM7"
        )
    return SerialTransport(address.target, line_settings(address, default))


class SerialTransport:
    """A serial line that can be opened again and again; remembers which USB adapter it was."""

    def __init__(self, port: str, settings: LineSettings) -> None:
        self._port = port
        self._settings = settings
        self._identity: UsbIdentity | None = None

    @property
    def name(self) -> str:
        """The port as the user wrote it."""
        return self._port

    @property
    def byte_time_s(self) -> float:
        """One character's time on the wire; 0 where there is no wire: a TCP socket, a pseudo-terminal."""
        if self._port.startswith(_NO_LINE) or _is_pseudo_terminal(self._port):
            return 0.0
        return self._settings.byte_time_s

    def open(self) -> Link:
        """Open the port, alone. After an unplugging the same adapter is found under its new name.

        Raises:
            LinkAbsent, LinkBusy, LinkForbidden: with what to do about it.
            AddressError: the port cannot do these line settings, or the URL is of an unknown kind.
        """
        device = self._where()
        settings = self._settings
        if _is_pseudo_terminal(device):
            # It has no wire, and Linux refuses seven bits and parity there from the second setting on.
            settings = settings._replace(data_bits=8, parity="N", stop_bits=1)
        link = SerialLink(self._port, device, settings)
        if self._identity is None and _may_be_usb(device):
            self._identity = identify(device, ports())
        return link

    def _where(self) -> str:
        if self._identity is None:
            return self._port
        listed = ports()
        found = locate(self._identity, listed)
        if found is not None:
            self._identity = self._identity._replace(device=found)
            return found
        if identify(self._port, listed) is not None:
            # The name is taken by another adapter now: its readings would pass for this meter's.
            raise LinkAbsent(f"the adapter of {self._port} is gone; another one has that name now", self._port)
        return self._port


def _may_be_usb(device: str) -> bool:
    return hid_cable.is_hid(device) or ("://" not in device and not _is_pseudo_terminal(device))


def _is_pseudo_terminal(port: str) -> bool:
    real = os.path.realpath(port)
    return real.startswith("/dev/pts/") or (sys.platform == "darwin" and real.startswith("/dev/ttys"))


class SerialLink:
    """An open port."""

    def __init__(self, name: str, device: str, settings: LineSettings) -> None:
        import serial

        self._name = name
        self._lock = threading.Lock()  # a close from another thread waits for the read that it cancels
        self._closing = False
        if hid_cable.is_hid(device):
            hid_cable.prepare(name)
        try:
            self._port = serial.serial_for_url(
                device,
                do_not_open=True,
                baudrate=settings.baud,
                bytesize=settings.data_bits,
                parity=settings.parity,
                stopbits=settings.stop_bits,
                timeout=READ_S,
                write_timeout=WRITE_S,
                exclusive=True,
            )
            if settings.dtr is not None:
                self._port.dtr = settings.dtr
            if settings.rts is not None:
                self._port.rts = settings.rts
            self._port.open()
        except _PORT_DIES as error:
            raise open_failure(name, error) from error
        except ValueError as error:
            raise AddressError(f"{name} cannot be opened with {settings}: {error}") from error

    def read(self, timeout_s: float) -> Chunk | None:
        """See `Link.read`."""
        with self._lock:
            if self._closing:
                raise LinkLost(f"{self._name} was closed", self._name)
            try:
                if self._port.timeout != timeout_s:
                    self._port.timeout = timeout_s
                data = self._port.read(1)
                arrival_s = time.monotonic()
            except _PORT_DIES as error:
                raise self._lost(error) from error
            if not data:
                return None
            return Chunk(data + self._rest(), arrival_s)

    def _rest(self) -> bytes:
        """Take what else is there already. A port that dies here is found dead by the next read."""
        rest = b""
        try:
            while (waiting := self._port.in_waiting) and len(rest) < MOST_BYTES:
                rest += self._port.read(min(waiting, MOST_BYTES))
        except _PORT_DIES:
            pass
        return rest

    def write(self, data: bytes) -> None:
        """See `Link.write`."""
        try:
            self._port.write(data)
        except _PORT_DIES as error:
            raise self._lost(error) from error

    def close(self) -> None:
        """Let go of the port."""
        self._closing = True
        cancel = getattr(self._port, "cancel_read", None)
        try:
            if cancel is not None:
                cancel()
        except _PORT_DIES:
            pass  # a dead port has no read to cancel
        with self._lock:
            stream = getattr(self._port, "_socket", None)  # pyserial leaves it open where the other end has hung up
            try:
                self._port.close()
            except _PORT_DIES:
                pass  # gone already
            if stream is not None:
                stream.close()

    def _lost(self, error: Exception) -> LinkLost:
        why = _UNPLUGGED if hid_cable.is_hid(self._name) else _plain(error)
        return LinkLost(f"{self._name} is gone: {why}", self._name)


def _plain(error: Exception) -> str:
    """Say why a port died. The system's own words differ by system and call and say little."""
    text = str(error)
    if isinstance(error, TimeoutError) or "imeout" in text:
        return "it accepts no more bytes"
    if "socket" in text or "connection" in text.lower():
        return "the other end closed the connection"
    return _UNPLUGGED
