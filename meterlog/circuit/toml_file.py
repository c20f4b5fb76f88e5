"""TOML that a person wrote: what cannot be read is said in one sentence, however odd the file."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

from meterlog.errors import CircuitError

LARGEST_BYTES = 200_000
"""A circuit with its readings has some 10 kB."""
_DEEP = re.compile(r"""(?:[\w"'-]+[ \t]*\.[ \t]*){40}""")
"""Keys of so many pieces mean nothing here, and the parser's time grows with the cube of their number."""


def read_toml(path: str | Path) -> dict[str, object]:
    """The table of a file in UTF-8, with or without a byte order mark.

    Raises:
        FileNotFoundError: there is none.
        CircuitError: it cannot be read, is too large, is no text, or is not TOML.
    """
    try:
        with Path(path).open("rb") as file:
            return parse_toml(file.read(LARGEST_BYTES + 1), path)
    except IsADirectoryError:
        raise CircuitError(f"'{path}' is a folder, not a file") from None
    except PermissionError:
        raise CircuitError(f"'{path}' cannot be read: the system does not permit it") from None
    except OSError as error:
        if isinstance(error, FileNotFoundError):
            raise  # the caller knows which names there are
        raise CircuitError(f"'{path}' cannot be read: {error.strerror or error}") from error


def parse_toml(data: bytes, path: str | Path) -> dict[str, object]:
    """The table of a file's bytes; `path` is its name in what is said.

    Raises:
        CircuitError: they are too many, no text, or not TOML.
    """
    if len(data) > LARGEST_BYTES:
        raise CircuitError(
            f"'{path}' has more than {LARGEST_BYTES // 1000} kB: no circuit or list of readings is as large"
        )
    if not data.strip(b"\xef\xbb\xbf \t\r\n"):
        raise CircuitError(f"'{path}' is empty")
    text = _decoded(data, path)
    if _DEEP.search(text):
        raise CircuitError(f"'{path}' has keys nested too deep")
    try:
        return tomllib.loads(text)
    except RecursionError:
        raise CircuitError(f"'{path}' is nested too deep") from None
    except tomllib.TOMLDecodeError as error:
        raise CircuitError(f"'{path}' is not TOML: {error}") from error
    except ValueError:
        raise CircuitError(f"'{path}' has a number of thousands of digits") from None


def _decoded(data: bytes, path: str | Path) -> str:
    if b"\0" not in data:
        try:
            return data.decode("utf-8-sig")
        except UnicodeDecodeError:
            pass
    raise CircuitError(f"'{path}' is no text file{_what(data)}")


def _what(data: bytes) -> str:
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        return " in UTF-8 (it is UTF-16: save it as UTF-8)"
    if data.startswith(b"SQLite format 3"):
        return ": it looks like a recorded session, which goes without --circuit and --measured"
    return " in UTF-8"
