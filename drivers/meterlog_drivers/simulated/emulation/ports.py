"""Ports to emulate a meter on: a pseudo-terminal, or TCP where there is none. Bytes written while nobody has the port
open are lost, as on a wire; so are those that a reader leaves lying until the system's buffer is full."""

from __future__ import annotations

import os
import select
import socket
import sys
from typing import Protocol

from meterlog.errors import LinkBusy, UsageError


class Port(Protocol):
    """Something that a reader opens."""

    @property
    def name(self) -> str:
        """The name that the reader opens: a device, or a `socket://` URL."""
        ...

    def listening(self) -> bool:
        """Tell whether a reader has it open."""
        ...

    def write(self, data: bytes) -> bool:
        """Send bytes; False where they were lost."""
        ...

    def close(self) -> None:
        """Take the port away."""
        ...


class PseudoTerminal:
    """The master's end of a pseudo-terminal.

    Its own copy of the slave's end is closed, so that the system reports a hang-up for as long as no reader has it
    open (Linux; a system that does not report it counts as having a reader).
    """

    _master: int
    _name: str

    def __init__(self) -> None:
        if sys.platform == "win32":
            raise UsageError("this system has no pseudo-terminals: add --tcp 0 for a TCP port instead")
        import tty

        self._master, slave = os.openpty()
        self._name = os.ttyname(slave)
        tty.setraw(slave)
        os.close(slave)
        os.set_blocking(self._master, False)
        self._poll = select.poll()
        self._poll.register(self._master, select.POLLIN)

    @property
    def name(self) -> str:
        """The slave's device name."""
        return self._name

    def listening(self) -> bool:
        """Tell whether the slave's end is open, and throw away what the reader sent."""
        if sys.platform == "win32":
            return False
        states = self._poll.poll(0)
        if any(state & select.POLLHUP for _, state in states):
            return False
        if states:
            try:
                os.read(self._master, 4096)
            except OSError:  # closed just now
                return False
        return True

    def write(self, data: bytes) -> bool:
        """Send bytes if they have a reader and room."""
        if not self.listening():
            return False
        try:
            return os.write(self._master, data) == len(data)
        except BlockingIOError:
            return False

    def close(self) -> None:
        """Hang up."""
        os.close(self._master)


class TcpPort:
    """A TCP port of this machine that serves one reader at a time."""

    def __init__(self, number: int) -> None:
        """Listen on a port of 127.0.0.1; 0 takes a free one.

        Raises:
            LinkBusy: another program has it.
        """
        self._reader: socket.socket | None = None
        self._server = socket.socket()
        if sys.platform != "win32":
            self._server.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            self._server.bind(("127.0.0.1", number))
        except (OSError, OverflowError) as error:
            self._server.close()
            raise LinkBusy(f"TCP port {number} is not available: {error}", str(number)) from error
        self._server.listen(1)
        self._server.setblocking(False)

    @property
    def name(self) -> str:
        """The URL that a serial reader opens."""
        return f"socket://127.0.0.1:{self._server.getsockname()[1]}"

    def listening(self) -> bool:
        """Tell whether a reader is connected, and throw away what it sent."""
        if self._reader is None:
            try:
                self._reader, _ = self._server.accept()
            except BlockingIOError:
                return False
            self._reader.setblocking(False)
            self._reader.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        try:
            gone = self._reader.recv(4096) == b""
        except BlockingIOError:
            return True
        except OSError:
            gone = True
        if gone:
            self._hang_up()
        return not gone

    def write(self, data: bytes) -> bool:
        """Send bytes if they have a reader and room."""
        if not self.listening() or self._reader is None:
            return False
        try:
            return self._reader.send(data) == len(data)
        except OSError:
            return False

    def close(self) -> None:
        """Hang up and free the port."""
        self._hang_up()
        self._server.close()

    def _hang_up(self) -> None:
        if self._reader is not None:
            self._reader.close()
            self._reader = None
