"""Sentences broken at words where a terminal is narrower than they are; files and pipes get them whole."""

from __future__ import annotations

import shutil
import sys
import textwrap

_LEAST_COLUMNS = 40
"""Narrower terminals are filled as if this wide: below it more lines break than hold together (a guess)."""
_HANG = "  "


def wrapped(text: str) -> str:
    """The text for standard output: lines longer than the terminal are broken at words, and what follows hangs."""
    width = columns()
    return text if width is None else wrapped_at(text, width)


def columns() -> int | None:
    """The width that lines for standard output are to have; None for a file or a pipe."""
    size = screen()
    return size and size[0]


def screen() -> tuple[int, int] | None:
    """The columns and rows of the terminal that standard output is; None for a file or a pipe."""
    if sys.stdout is None or not sys.stdout.isatty():
        return None
    size = shutil.get_terminal_size()
    return max(_LEAST_COLUMNS, size.columns), size.lines


def wrapped_at(text: str, width: int) -> str:
    """The text in lines of at most that width, but for single words that are longer."""
    return "\n".join(_broken(line, width) if len(line) > width else line for line in text.split("\n"))


def _broken(line: str, width: int) -> str:
    indent = line[: len(line) - len(line.lstrip())]
    hanging = indent + _HANG
    return textwrap.fill(line, width, subsequent_indent=hanging, break_long_words=False, break_on_hyphens=False)
