"""The tap: passes everything that comes over a transport to a raw capture on its way."""

from __future__ import annotations

from typing import Protocol

from meterlog.transports.contract import Chunk, Link, Transport


class RawSink(Protocol):
    """The receiver of what a tap sees: a `RawCaptureWriter`."""

    def add(self, chunk: Chunk) -> None:
        """Keep a chunk."""
        ...

    def note(self, text: str) -> None:
        """Keep a remark between the chunks."""
        ...


class TappedTransport:
    """A transport whose links hand each chunk to the sink before anyone decodes it."""

    def __init__(self, transport: Transport, sink: RawSink) -> None:
        self._transport, self._sink = transport, sink

    @property
    def name(self) -> str:
        """The transport's own name."""
        return self._transport.name

    @property
    def byte_time_s(self) -> float:
        """The transport's own."""
        return self._transport.byte_time_s

    def open(self) -> Link:
        """Open the transport; see `Transport.open`."""
        link = self._transport.open()
        self._sink.note("link opened")
        return _TappedLink(link, self._sink)


class _TappedLink:
    def __init__(self, link: Link, sink: RawSink) -> None:
        self._link, self._sink = link, sink

    def read(self, timeout_s: float) -> Chunk | None:
        chunk = self._link.read(timeout_s)
        if chunk is not None:
            self._sink.add(chunk)
        return chunk

    def write(self, data: bytes) -> None:
        self._link.write(data)

    def close(self) -> None:
        self._link.close()
