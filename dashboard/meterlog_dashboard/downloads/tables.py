"""A session as a table that is sent while it is made: memory stays flat, and who closes the connection ends the work.

A table that breaks off is known for it: its answer lacks the last chunk (RFC 9112, 7.1), so that the browser says that
the download failed; a CSV lacks its last row's word about how much it holds, a Parquet file its footer.
"""

from __future__ import annotations

import sys
import threading
from collections import OrderedDict
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, NamedTuple

from waitress.channel import ClientDisconnected

from meterlog.errors import MeterlogError, UsageError
from meterlog.session.reader import SessionReader, open_reader

AT_ONCE = 3
"""Tables that are made at the same time: each holds a thread of the server. A guess."""
_REMEMBERED = 32
"""Tables of which it is known how far they are or how they ended. A guess: a page asks about its own, for a minute."""

_Parts = Iterator[tuple[bytes, int]]


class Kind(NamedTuple):
    """Names the forms in which a session can be sent."""

    mimetype: str
    parts: Callable[[SessionReader], _Parts]


def _csv(reader: SessionReader) -> _Parts:
    from meterlog.exchange.csv_export import csv_parts

    return ((text.encode(), readings) for text, readings in csv_parts(reader, delimiter=",", decimal="."))


def _parquet(reader: SessionReader) -> _Parts:
    from meterlog.exchange.parquet import parquet_parts

    return parquet_parts(reader)


KINDS = {
    "csv": Kind("text/csv", _csv),
    "parquet": Kind("application/vnd.apache.parquet", _parquet),
}
"""By the suffix of the file."""


class Sending:
    """A table on its way, to be iterated once and closed.

    Attributes:
        state: `going`, `whole`, `ended` before it was whole, or `failed`.
        said: why it failed.
    """

    def __init__(self, path: Path, suffix: str, said: Callable[[Exception], str]) -> None:
        """Make the first part, so that what cannot be a table is refused in the answer.

        Raises:
            MeterlogError: the session cannot be read, or is empty.
        """
        self.state, self.said = "going", ""
        self._sentence, self._stopped = said, threading.Event()
        self._reader = open_reader(path)
        try:
            self._of = sum(self._reader.count(channel.number) for channel in self._reader.channels)
            self._parts = KINDS[suffix].parts(self._reader)
            self._readings = self._bytes = 0
            self._first: bytes | None = self._next()
        except BaseException:
            self._reader.close()
            raise

    def __iter__(self) -> Iterator[bytes]:
        """Give the parts.

        Raises:
            ClientDisconnected: it was stopped, or it failed; the server then ends the connection without the last
                chunk.
        """
        try:
            part = self._first
            while part is not None:
                if self._stopped.is_set():
                    raise ClientDisconnected
                yield part
                part = self._next()
        except (MeterlogError, OSError) as error:
            self.state, self.said = "failed", self._sentence(error)
            print(f"meterlog: a download broke off: {self.said}", file=sys.stderr, flush=True)
            raise ClientDisconnected from error
        self.state = "whole"

    def _next(self) -> bytes | None:
        part = next(self._parts, None)
        if part is None:
            return None
        data, self._readings = part
        self._bytes += len(data)
        return data

    def told(self) -> dict[str, Any]:
        """Say how far it is, for the page that asked for it; the bytes are those made until now."""
        return {
            "state": self.state,
            "said": self.said,
            "readings": self._readings,
            "of": max(self._of, self._readings),  # a session may grow meanwhile
            "bytes": self._bytes,
        }

    def stop(self) -> None:
        """End it before the next part."""
        self._stopped.set()

    def close(self) -> None:
        """Let the session go; called by the server when the table has been sent or nobody takes it any more."""
        if self.state == "going":
            self.state = "ended"
        self._reader.close()


class Tables:
    """The tables that are being sent, by the numbers that their pages gave them. Usable from any thread."""

    def __init__(self, said: Callable[[Exception], str]) -> None:
        """`said` makes the page's sentence of an error."""
        self._said, self._lock = said, threading.Lock()
        self._begun: list[Sending] = []
        self._known: OrderedDict[str, Sending | str] = OrderedDict()

    def begin(self, find: Callable[[], Path], suffix: str, number: str) -> Sending:
        """Begin a table.

        Args:
            find: gives the session's file.
            suffix: of `KINDS`.
            number: under which the page asks how far it is; nothing where it will not.

        Raises:
            MeterlogError: the session cannot be read or is empty, or too many tables are being made.
            ModuleNotFoundError: a library that makes such tables is missing.
        """
        try:
            with self._lock:
                self._begun = [one for one in self._begun if one.state == "going"]
                if len(self._begun) >= AT_ONCE:
                    raise UsageError(f"{AT_ONCE} tables are being made already: wait until one is whole, or cancel one")
                sending = Sending(find(), suffix, self._said)
                self._begun.append(sending)
        except (MeterlogError, ModuleNotFoundError) as error:
            self._remember(number, self._said(error))
            raise
        self._remember(number, sending)
        return sending

    def told(self, number: str) -> dict[str, Any]:
        """Say how far a table is; `unknown` where none of that number has begun."""
        found = self._known.get(number, "")
        if isinstance(found, Sending):
            return found.told()
        return {"state": "failed" if found else "unknown", "said": found}

    def stop(self, number: str) -> None:
        """End a table; nothing where there is none."""
        found = self._known.get(number)
        if isinstance(found, Sending):
            found.stop()

    def _remember(self, number: str, what: Sending | str) -> None:
        if number:
            with self._lock:
                self._known[number] = what
                while len(self._known) > _REMEMBERED:
                    self._known.popitem(last=False)
