"""Reads TOML that a person wrote: what cannot be read is one sentence, however odd the file, with key and line."""

from __future__ import annotations

import os
import re
import stat
import tomllib
from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

from meterlog.errors import MeterlogError

LARGEST_BYTES = 200_000
"""A circuit with its readings has some 10 kB, the largest limits set 12."""
_DEEP = re.compile(r"""(?:[\w"'-]+[ \t]*\.[ \t]*){40}""")
"""Keys of so many pieces mean nothing here, and the parser's time grows with the cube of their number."""
_HEADER = re.compile(r"\s*(\[\[?)\s*([\w.-]+)\s*\]\]?")
_KEY = re.compile(r"""\s*(?:"([^"]*)"|'([^']*)'|([\w-]+))\s*=""")

Failure = Callable[[str], MeterlogError]
"""The error that a kind of file raises: `LimitsError`, `CircuitError`, `ProfileError`."""


@dataclass(frozen=True)
class TomlText:
    """A file of TOML, understood, with what says where things stand in it.

    Attributes:
        path: the file as the user wrote it.
        text: as it stands.
        values: its tables.
    """

    path: str
    text: str
    values: dict[str, object]

    @cached_property
    def lines(self) -> dict[tuple[str, str], int]:
        """The line of each table header `(table, "")` and key `(table, key)`; the third `[[name]]` is `name#2`.

        Enough for errors: keys inside inline tables count as their table's.
        """
        found: dict[tuple[str, str], int] = {("", ""): 1}
        counts: dict[str, int] = {}
        place = ""
        for number, line in enumerate(self.text.splitlines(), 1):
            if header := _HEADER.match(line):
                place = _numbered(header, counts)
                found.setdefault((place, ""), number)
            elif key := _KEY.match(line):
                found.setdefault((place, key[1] or key[2] or key[3]), number)
        return found

    def line(self, place: str, key: str) -> int | None:
        """The line of a key of a table, or else of the table; None where neither is found."""
        return self.lines.get((place, key)) or self.lines.get((f"{place}.{key}" if place else key, ""))


def _numbered(header: re.Match[str], counts: dict[str, int]) -> str:
    """A header's table, those of an array of tables numbered as they come."""
    place = header[2]
    if header[1] == "[[":
        counts[place] = counts.get(place, -1) + 1
    parts = place.split(".")
    for depth in range(1, len(parts) + 1):
        head = ".".join(parts[:depth])
        if head in counts:
            return place.replace(head, f"{head}#{counts[head]}", 1)
    return place


def read_toml(path: str | Path, failure: Failure) -> TomlText:
    """The tables of a file in UTF-8, with or without a byte order mark.

    Raises:
        FileNotFoundError: there is none.
        MeterlogError: of `failure`: it cannot be read, is no plain file, is too large, is not text, or is not TOML.
    """
    try:
        handle = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0))
        with os.fdopen(handle, "rb") as file:
            if not stat.S_ISREG(os.fstat(handle).st_mode):  # /dev/zero has no end, a pipe may never have a beginning
                raise failure(f"'{path}' is not a plain file")
            return parse_toml(file.read(LARGEST_BYTES + 1), path, failure)
    except FileNotFoundError:
        raise  # the caller knows which names there are
    except IsADirectoryError:
        raise failure(f"'{path}' is a folder, not a file") from None
    except PermissionError:
        raise failure(f"'{path}' cannot be read: the system does not permit it") from None
    except (OSError, ValueError) as error:
        if isinstance(error, MeterlogError):
            raise
        why = error.strerror if isinstance(error, OSError) and error.strerror else error
        raise failure(f"'{path}' cannot be read: {why}") from error


def parse_toml(data: bytes, path: str | Path, failure: Failure) -> TomlText:
    """The tables of a file's bytes; `path` is its name in what is said.

    Raises:
        MeterlogError: of `failure`: they are too many, not text, or not TOML.
    """
    if len(data) > LARGEST_BYTES:
        raise failure(f"'{path}' has more than {LARGEST_BYTES // 1000} kB: no file of this kind is as large")
    if not data.strip(b"\xef\xbb\xbf \t\r\n"):
        raise failure(f"'{path}' is empty")
    text = _decoded(data, path, failure)
    if _DEEP.search(text):
        raise failure(f"'{path}' has keys nested too deep")
    try:
        return TomlText(str(path), text, tomllib.loads(text))
    except RecursionError:
        raise failure(f"'{path}' is nested too deep") from None
    except tomllib.TOMLDecodeError as error:
        at = re.search(r"at line (\d+)", str(error))
        line = int(at[1]) if at else text.count("\n") + 1
        key = _KEY.match(text.split("\n")[line - 1])
        where = f", at '{key[key.lastindex or 0]}'" if key else ""
        raise failure(f"{path}, line {line}: this is not TOML{where}: {error}") from error
    except ValueError:
        raise failure(f"'{path}' has a number of thousands of digits") from None


def _decoded(data: bytes, path: str | Path, failure: Failure) -> str:
    if b"\0" not in data:
        try:
            return data.decode("utf-8-sig")
        except UnicodeDecodeError:
            pass
    raise failure(f"'{path}' is not a text file{_what(data)}")


def _what(data: bytes) -> str:
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        return " in UTF-8 (it is UTF-16: save it as UTF-8)"
    if data.startswith(b"SQLite format 3"):
        return ": it looks like a recorded session"
    return " in UTF-8"
