"""Listens to a port while a person is asked: finds the line settings first, then keeps every byte with its time."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Sequence
from types import TracebackType

from meterlog.address import Address
from meterlog.errors import LinkError, NotLearned
from meterlog.transports import Chunk, LineSettings, Link, Transport
from meterlog_drivers.teach.framing.frame_finder import find_frames
from meterlog_drivers.teach.line_lesson import find_lines

RATES = (9600, 2400, 19200, 4800, 115200, 38400, 57600, 1200, 600)
"""Line rates that meters use, the commonest first (from memory, unverified)."""
TRY_S = 3.0
"""Says how long each rate is listened to, s: six displays at two a second."""
LOOK_S = 0.1
WHOLE_SHARE = 0.8
"""The share of the bytes that must belong to whole frames; a wrong rate garbles most of them (guess)."""


class Listening:
    """An open port whose bytes are kept.

    Attributes:
        line: the line settings in a profile's words.
        byte_time_s: of one byte on the wire, s; 0 where there is no wire.
    """

    def __init__(self, transport: Transport, line: str, heard: Sequence[Chunk] = ()) -> None:
        """Open the port and begin, with what was heard of it before.

        Raises:
            LinkError: it cannot be opened.
        """
        self.line, self.byte_time_s = line, transport.byte_time_s
        self._chunks = list(heard)
        self._link = transport.open()
        self._over = threading.Event()
        self._error: LinkError | None = None
        self._thread = threading.Thread(target=self._listen, name="teach", daemon=True)

    @classmethod
    def to(cls, target: str, transport: Callable[[LineSettings], Transport] | None = None) -> Listening:
        """Listen to a port under the settings that make frames of its bytes.

        Args:
            target: a serial port or URL, or `ble:` with a peripheral's address.
            transport: the port under given settings; a serial line by default.

        Raises:
            LinkError: it cannot be opened.
            NotLearned: nothing comes, or nothing that has a structure.
        """
        opened = transport or (lambda line: _transport(target, line))
        heard = 0
        for outputs in ((None, None), (True, False)):
            for rate in RATES:
                line = LineSettings(rate, dtr=outputs[0], rts=outputs[1])
                port = opened(line)
                chunks = _heard(port.open(), TRY_S)
                heard += len(chunks)
                if _structured(chunks, port.byte_time_s):
                    return cls(port, _words(line), chunks)
                if not chunks and not heard and rate == RATES[0]:
                    break  # silence does not depend on the rate; the control outputs may power the adapter
                if not port.byte_time_s:
                    break
        if not heard:
            raise NotLearned(f"nothing comes from {target}: is the meter on, and its data output switched on?")
        raise NotLearned(f"bytes come from {target}, but at no line rate do they have a structure that repeats")

    def __enter__(self) -> Listening:
        self._thread.start()
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        self._over.set()
        self._thread.join()
        self._link.close()

    @property
    def now_s(self) -> float:
        """The time, on the clock of the chunks."""
        return time.monotonic()

    @property
    def chunks(self) -> list[Chunk]:
        """Return what came so far.

        Raises:
            LinkError: the link died.
        """
        if self._error is not None:
            raise self._error
        return list(self._chunks)

    def _listen(self) -> None:
        while not self._over.is_set():
            try:
                chunk = self._link.read(LOOK_S)
            except EOFError:
                return
            except LinkError as error:
                self._error = error
                return
            if chunk is not None:
                self._chunks.append(chunk)


def _transport(target: str, line: LineSettings) -> Transport:
    if target.startswith("ble:"):
        from meterlog_drivers.ble import peripheral_transport

        return peripheral_transport(Address.parse(target))
    from meterlog.transports.serial_line import serial_transport

    return serial_transport(Address("auto", target), line)


def _heard(link: Link, listen_s: float) -> list[Chunk]:
    end_s = time.monotonic() + listen_s
    chunks = []
    try:
        while (left_s := end_s - time.monotonic()) > 0:
            chunk = link.read(min(LOOK_S, left_s))
            if chunk is not None:
                chunks.append(chunk)
    except EOFError:
        pass
    finally:
        link.close()
    return chunks


def _structured(chunks: list[Chunk], byte_time_s: float) -> bool:
    """Tell whether the bytes are lines, or mostly whole frames."""
    if find_lines(chunks, byte_time_s):
        return True
    found = find_frames(chunks, byte_time_s)
    return found is not None and found.frames.size >= WHOLE_SHARE * sum(len(chunk.data) for chunk in chunks)


def _words(line: LineSettings) -> str:
    outputs = "".join(
        f" {n}={'on' if s else 'off'}" for n, s in (("dtr", line.dtr), ("rts", line.rts)) if s is not None
    )
    return f"{line.baud} {line.data_bits}{line.parity}{line.stop_bits}{outputs}"
