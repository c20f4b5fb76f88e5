"""The raw capture: every byte a meter sent, with its arrival time, as text that survives a crash.

```
meterlog raw bytes 1
# address: status14:/dev/ttyUSB0?label=feed
# started_at: 2026-03-01T10:15:00.123456+01:00
# byte_time_s: 0.00416667
0.512345 2b 30 30 30 35 20 34 31 30 30 40 80 0d 0a
```

The first line names the format. A line that begins with `#` is a note; the three above are written at the start,
one each time the link was opened or lost, and `found`, the address with the driver that was found by listening,
where it was. Every other line is one chunk: its arrival in seconds from
`started_at` (the session's start), and its bytes in hex. Each line is handed to the system at once; a last line
without its line end is the torn end of a crash and is not read.
"""

from __future__ import annotations

import math
import os
import threading
from datetime import datetime
from pathlib import Path
from typing import NamedTuple

from meterlog.errors import LinkAbsent, LinkForbidden, NotASession, SessionWriteFailed
from meterlog.transports.contract import Chunk

FIRST_LINE = "meterlog raw bytes 1"


class RawCaptureWriter:
    """Appends chunks as they come. A chunk is with the system, safe from a crash of ours, when `add` returns.

    Attributes:
        path: the file.
        chunks: how many are in it.
    """

    def __init__(
        self, path: Path, address: str, started_at: datetime, monotonic_start_s: float, byte_time_s: float
    ) -> None:
        """Make the file.

        Raises:
            SessionWriteFailed: it exists already, or cannot be made there.
        """
        self.path, self.chunks = path, 0
        self._start_s = monotonic_start_s
        self._lock = threading.Lock()
        try:
            self._file = os.open(path, os.O_CREAT | os.O_EXCL | os.O_WRONLY | getattr(os, "O_BINARY", 0), 0o666)
        except OSError as error:
            raise SessionWriteFailed(f"raw bytes cannot be kept in '{path}': {error.strerror}", str(path)) from error
        head = (FIRST_LINE, f"# address: {address}", f"# started_at: {started_at.isoformat()}")
        self._write("\n".join((*head, f"# byte_time_s: {byte_time_s:.8g}", "")))

    def add(self, chunk: Chunk) -> None:
        """Keep a chunk.

        Raises:
            SessionWriteFailed: disk full, folder removed.
        """
        self._write(f"{chunk.arrival_s - self._start_s:.6f} {chunk.data.hex(' ')}\n")
        self.chunks += 1

    def note(self, text: str) -> None:
        """Keep a remark between the chunks.

        Raises:
            SessionWriteFailed: disk full, folder removed.
        """
        self._write(f"# {' '.join(text.split())}\n")

    def close(self) -> None:
        """Close the file. Safe to call twice; what comes later is dropped."""
        with self._lock:
            if self._file >= 0:
                os.close(self._file)
            self._file = -1

    def _write(self, text: str) -> None:
        data = text.encode()
        with self._lock:
            if self._file < 0:
                return
            try:
                while data:
                    data = data[os.write(self._file, data) :]
            except OSError as error:
                raise SessionWriteFailed(
                    f"raw bytes cannot be kept in '{self.path}': {error.strerror}", str(self.path)
                ) from error


class RawCapture(NamedTuple):
    """A raw capture as read.

    Attributes:
        chunks: the bytes; arrival_s counted from the session's start; empty for plain bytes without times.
        plain: the whole file, where it is plain bytes without times; else empty.
        byte_time_s: one byte's time on the wire, s; 0 where it does not apply or is not known.
        address: the meter's address, with the driver that was found where it was to be found by listening; empty
            where it is not known.
    """

    chunks: list[Chunk]
    plain: bytes
    byte_time_s: float = 0.0
    address: str = ""


def read_raw_capture(path: Path) -> RawCapture:
    """Read a raw capture; a file that does not begin with `FIRST_LINE` is taken as plain bytes.

    Raises:
        LinkAbsent: there is no such file.
        LinkForbidden: it cannot be read.
        NotASession: a line cannot be understood.
    """
    try:
        data = path.read_bytes()
    except (FileNotFoundError, NotADirectoryError) as error:
        raise LinkAbsent(f"there is no file '{path}'", str(path)) from error
    except OSError as error:
        raise LinkForbidden(f"'{path}' cannot be read: {error.strerror}", str(path)) from error
    if not data.startswith(FIRST_LINE.encode()):
        return RawCapture([], data)
    chunks: list[Chunk] = []
    notes: dict[str, str] = {}
    lines = data.decode("ascii", "replace").split("\n")
    for number, line in enumerate(lines[1:-1], start=2):
        if line.startswith("#"):
            name, _, value = line[1:].partition(":")
            notes.setdefault(name.strip(), value.strip())
        elif line:
            chunks.append(_chunk(line, number, path))
    try:
        byte_time_s = float(notes.get("byte_time_s", "0"))
    except ValueError:
        byte_time_s = math.nan
    if not 0.0 <= byte_time_s < math.inf:
        raise NotASession(f"in {path} the byte time '{notes['byte_time_s']}' is not a time", str(path))
    return RawCapture(chunks, b"", byte_time_s, notes.get("found") or notes.get("address", ""))


def _chunk(line: str, number: int, path: Path) -> Chunk:
    time_text, _, hex_text = line.partition(" ")
    try:
        chunk = Chunk(bytes.fromhex(hex_text), float(time_text))
    except ValueError as error:
        raise NotASession(
            f"line {number} of {path} is not a line of a raw capture: '{line[:60]}'", str(path)
        ) from error
    if not math.isfinite(chunk.arrival_s):
        raise NotASession(f"line {number} of {path} has no time: '{time_text}'", str(path))
    if not chunk.data:
        raise NotASession(f"line {number} of {path} has a time but no bytes", str(path))
    return chunk
