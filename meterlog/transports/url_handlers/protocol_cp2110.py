"""`cp2110://PATH`: a cable that is no serial port but a USB-HID device with a UART behind it.

pyserial's own handler speaks the chip's public protocol; three things of it are not fit for long recordings. It sends
the line settings anew at every change of a timeout; it lets a cable that is pulled out end its thread with a traceback;
and it takes the path apart as a URL, which no path of Windows survives.
"""

from __future__ import annotations

import contextlib

from serial.urlhandler import protocol_cp2110

SCHEME = "cp2110://"


class Serial(protocol_cp2110.Serial):
    """Such a cable."""

    _sent: tuple[object, ...] | None = None

    def open(self) -> None:
        """Open it, and send the line settings."""
        self._sent = None
        super().open()

    def from_url(self, url: str) -> bytes:
        """The path as `hid.enumerate()` gives it."""
        return url.removeprefix(SCHEME).encode("utf-8")

    def _reconfigure_port(self) -> None:
        wanted = (self.baudrate, self.bytesize, self.parity, self.stopbits)
        if wanted != self._sent:
            super()._reconfigure_port()  # type: ignore[misc]  # the stubs leave it out
            self._sent = wanted

    def _hid_read_loop(self) -> None:
        with contextlib.suppress(OSError, ValueError):  # pulled out: the next read says so
            super()._hid_read_loop()  # type: ignore[misc]  # the stubs leave it out
