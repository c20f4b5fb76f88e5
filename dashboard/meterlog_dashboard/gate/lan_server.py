"""Serves the page to other devices of the same network, apart from this computer's own server.

Devices that are not paired get a small budget: a few connections each and in all, each for a few seconds. Whoever holds
the most of them makes room for who comes, so connections that are held open keep nobody out. Paired devices and this
computer have budgets of their own.
"""

from __future__ import annotations

import contextlib
import socket
import ssl
import threading
from collections import defaultdict
from collections.abc import Callable, Set
from typing import Any

from waitress.channel import HTTPChannel
from waitress.server import TcpWSGIServer

from meterlog_dashboard.gate.tls_channel import RECORD_BYTES, TlsChannel

UNPAIRED_CONNECTIONS = 4
"""Of one address that is not paired; a browser needs one or two for the page with the code."""
STRANGERS_CONNECTIONS = 24
"""Of all addresses together that are not paired."""
UNPAIRED_S = 10.0
"""The longest one of them may last, however much or little it sends, s. A guess: the page with the code takes 0.1 s."""
PAIRED_CONNECTIONS = 32
"""Of one paired address: a browser opens six, and a phone may have several tabs. A guess."""
PAIRED_IDLE_S = 120
"""A paired device may keep a connection without asking, or without taking what it asked for, for so long, s; a
guess."""
MOST_CONNECTIONS = 400
"""Of all together; Python's select takes no more than 1024 files, and poll is not everywhere."""
LARGEST_BODY_BYTES = 4_000_000
"""The largest question of a view, with what the browser holds, has some 100 kB; without a limit, strangers fill the
disk."""
WAITING_BYTES = 1_000_000
"""Made of a long answer and not taken yet; then its making waits. A guess: a second of a slow network."""
THREADS = 8
"""Requests answered at the same time; a browser opens six connections."""

Application = Callable[..., Any]


class _LanServer(TcpWSGIServer):  # type: ignore[misc]
    """Keeps everybody within the budget."""

    channel_class = TlsChannel
    paired: Callable[[], Set[str]] = staticmethod(frozenset)
    tls: ssl.SSLContext

    def handle_accept(self) -> None:
        """Let a connection in, then close whatever is too many."""
        super().handle_accept()
        for channel in surplus(self._open(), self.paired()):
            _end(channel)

    def maintenance(self, now: float) -> None:
        """Close what is idle or takes nothing of its answer, and what is not paired and has had its time."""
        super().maintenance(now)
        paired = self.paired()
        for channel in self._open():
            stranger_s = now - channel.creation_time if channel.addr[0] not in paired else 0.0
            idle_s = now - channel.last_activity if channel.total_outbufs_len else 0.0
            if stranger_s > UNPAIRED_S or idle_s > PAIRED_IDLE_S:
                _end(channel)

    def _open(self) -> list[HTTPChannel]:
        return [channel for channel in self.active_channels.values() if not channel.will_close]


def _end(channel: HTTPChannel) -> None:
    """Close a connection at the loop's next turn, even if the other side takes nothing off it."""
    channel.will_close = True
    # Only a socket that can be written to is looked at then, and one that is shut down can.
    with contextlib.suppress(OSError):
        channel.socket.shutdown(socket.SHUT_RDWR)


def surplus(channels: list[HTTPChannel], paired: Set[str]) -> list[HTTPChannel]:
    """Choose the connections to close: the oldest of each address that has too many, then of who has the most."""
    by_address: dict[str, list[HTTPChannel]] = defaultdict(list)
    for channel in sorted(channels, key=lambda channel: float(channel.creation_time)):
        by_address[channel.addr[0]].append(channel)
    chosen: list[HTTPChannel] = []
    for address, own in by_address.items():
        most = PAIRED_CONNECTIONS if address in paired else UNPAIRED_CONNECTIONS
        chosen += own[:-most]
        del own[:-most]
    strangers = [own for address, own in by_address.items() if address not in paired]
    for _ in range(sum(map(len, strangers)) - STRANGERS_CONNECTIONS):
        chosen.append(max(strangers, key=len).pop(0))
    return chosen


def serve_lan(
    application: Application,
    address: str,
    port: int,
    tls: ssl.SSLContext,
    paired: Callable[[], Set[str]],
    threads: int = THREADS,
) -> None:
    """Answer other devices over TLS, in threads of its own, until the program ends.

    Args:
        application: the WSGI application, behind its gate.
        address: this computer's own in the network.
        port: the port to listen on.
        tls: what the connections are encrypted with.
        paired: gives the addresses of the paired devices.
        threads: requests answered at the same time.

    Raises:
        OSError: the port cannot be used.
    """
    server = _LanServer(
        application,
        host=address,
        port=port,
        threads=threads,
        outbuf_high_watermark=WAITING_BYTES,
        connection_limit=MOST_CONNECTIONS,
        channel_timeout=PAIRED_IDLE_S,
        cleanup_interval=1,
        max_request_body_size=LARGEST_BODY_BYTES,
        recv_bytes=RECORD_BYTES,
        url_scheme="https",
        ident="meterlog",
    )
    server.paired, server.tls = paired, tls
    threading.Thread(target=server.run, name="page for the network", daemon=True).start()
