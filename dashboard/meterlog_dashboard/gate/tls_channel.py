"""A connection of the server over TLS.

The server's loop never waits for one connection, so the handshake goes on as its bytes come, within the budget that a
stranger has.
"""

from __future__ import annotations

import contextlib
import socket
import ssl
import threading
import time
from typing import Any

from waitress.channel import HTTPChannel

RECORD_BYTES = 16_384
"""Says what one record holds at most (RFC 8446, 5.1). Who takes so much at a time leaves nothing decrypted behind, of
which the loop would hear nothing."""
_HANDSHAKE = b"\x16"
"""The first byte of a connection over TLS (RFC 8446, 5.1); a plain question begins with a letter."""
_NOT_YET = (ssl.SSLWantReadError, ssl.SSLWantWriteError)


class TlsChannel(HTTPChannel):  # type: ignore[misc]
    """Encrypts a connection; one that begins with a plain question is sent to the encrypted address and ended."""

    socket: Any

    def __init__(self, server: Any, sock: socket.socket, *args: Any, **more: Any) -> None:
        self._encrypted = False
        self._using = threading.Lock()  # threads send while the loop receives, which OpenSSL allows one at a time
        super().__init__(server, sock, *args, **more)

    def handle_read(self) -> None:
        """Take what has come, as far as it can be decrypted."""
        try:
            if not self._encrypted and not self._begin():
                return
            with self._using:
                data = self.socket.recv(RECORD_BYTES)
        except _NOT_YET:
            return
        except OSError:  # gone, or what came is not TLS
            data = b""
        if not data:
            self.handle_close()
            return
        self.last_activity = time.time()
        self.received(data)

    def send(self, data: bytes, do_close: bool = True) -> int:
        """Send as much as the connection takes now."""
        try:
            with self._using:
                return int(self.socket.send(data))
        except _NOT_YET:
            return 0
        except OSError:
            if do_close:
                self.handle_close()
            return 0

    def _begin(self) -> bool:
        """Look at the first byte; tell whether the connection is encrypted from now on."""
        try:
            first = self.socket.recv(1, socket.MSG_PEEK)
        except BlockingIOError:
            return False
        if first == _HANDSHAKE:
            self.socket = self.server.tls.wrap_socket(self.socket, server_side=True, do_handshake_on_connect=False)
            self._encrypted = True
            return True
        if first:
            with contextlib.suppress(OSError):
                self.socket.recv(RECORD_BYTES)  # what is unread when it closes would take the answer with it
                self.socket.send(self._elsewhere())
        self.handle_close()
        return False

    def _elsewhere(self) -> bytes:
        address = f"https://{self.server.effective_host}:{self.server.effective_port}/"
        return f"HTTP/1.1 301 Moved\r\nLocation: {address}\r\nContent-Length: 0\r\nConnection: close\r\n\r\n".encode()
