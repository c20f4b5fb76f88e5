"""Bytes from a raw capture, at their recorded spacing, as if the meter were there."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator, Sequence

from meterlog.errors import EmptySession, LinkLost
from meterlog.transports.contract import Chunk, LineSettings, Link
from meterlog.transports.raw_capture import RawCapture

PLAIN_CHUNK_BYTES = 32
"""Plain bytes have no times: they come in pieces of this size, at the line's rate."""


class ReplayTransport:
    """A raw capture that can be opened again and again; each opening begins at its first byte.

    The first byte arrives at the moment of opening, and the others at their recorded distance from it. With a
    `speed` other than 1 they come sooner or later than that by the host's clock, and their arrival times keep
    the recorded distances.
    """

    def __init__(self, name: str, capture: RawCapture, line: LineSettings, speed: float = 1.0) -> None:
        """Replay a capture.

        Args:
            name: what to call it: the file.
            capture: as read from the file.
            line: the line that plain bytes are paced as.
            speed: how much faster than recorded.

        Raises:
            EmptySession: there are no bytes in it.
        """
        self._name, self._speed = name, speed
        self._chunks: Sequence[Chunk] = capture.chunks or list(_paced(capture.plain, line.byte_time_s))
        self.byte_time_s = line.byte_time_s if capture.plain else capture.byte_time_s
        if not self._chunks:
            raise EmptySession(f"there are no bytes in {name}", name)

    @property
    def name(self) -> str:
        """The file."""
        return self._name

    def open(self) -> Link:
        """Begin at the first byte."""
        return _ReplayLink(self._name, self._chunks, self._speed)


def _paced(data: bytes, byte_time_s: float) -> Iterator[Chunk]:
    for start in range(0, len(data), PLAIN_CHUNK_BYTES):
        piece = data[start : start + PLAIN_CHUNK_BYTES]
        yield Chunk(piece, (start + len(piece)) * byte_time_s)


class _ReplayLink:
    def __init__(self, name: str, chunks: Sequence[Chunk], speed: float) -> None:
        self._name, self._chunks, self._speed = name, chunks, speed
        self._next = 0
        self._opened_s = time.monotonic()
        self._closed = threading.Event()

    def read(self, timeout_s: float) -> Chunk | None:
        """See `Link.read`."""
        if self._closed.is_set():
            raise LinkLost(f"{self._name} was closed", self._name)
        if self._next >= len(self._chunks):
            raise EOFError
        data, recorded_s = self._chunks[self._next]
        after_s = recorded_s - self._chunks[0].arrival_s
        wait_s = self._opened_s + after_s / self._speed - time.monotonic()
        if wait_s > 0 and (self._closed.wait(min(wait_s, timeout_s)) or wait_s > timeout_s):
            return None
        self._next += 1
        return Chunk(data, self._opened_s + after_s)

    def write(self, data: bytes) -> None:
        """Send nothing: a recording answers nobody."""

    def close(self) -> None:
        """Let go."""
        self._closed.set()
