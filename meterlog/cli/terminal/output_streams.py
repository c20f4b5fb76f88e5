"""Output streams for what the commands print: labels, markers, file names and a meter's answers may hold escape
sequences or characters that the output's encoding lacks, and the reader of a pipe may have gone.
"""

from __future__ import annotations

import io
import os
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from typing import Any, Literal, TextIO, cast

from meterlog.text.safe import in_lines


class PlainOutput:
    """A text stream through which no control character comes but line ends and tabs."""

    def __init__(self, stream: TextIO) -> None:
        """Write to that stream. A character that its encoding lacks is written as `\\u2126` from now on.

        Attributes:
            raw: the stream itself, for what draws on the terminal and escapes its texts with `one_line`.
        """
        self.raw = stream
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")

    def write(self, text: str) -> int:
        """Write what can be shown of it."""
        self.raw.write(in_lines(text))
        return len(text)

    def writelines(self, lines: list[str]) -> None:
        """Write each."""
        for line in lines:
            self.write(line)

    def __getattr__(self, name: str) -> Any:
        """All else is the stream's own."""
        return getattr(self.raw, name)


class LastingOutput:
    """A text stream that drops what cannot be written: a closed pipe, a full disk, a terminal that is gone."""

    def __init__(self, stream: TextIO) -> None:
        """Write to that stream as long as it goes."""
        self._stream = stream

    @property
    def raw(self) -> TextIO:
        """As `PlainOutput.raw`, and lasting too."""
        inner = self._stream.raw if isinstance(self._stream, PlainOutput) else self._stream
        return cast(TextIO, LastingOutput(inner))

    def write(self, text: str) -> int:
        """Write it, or drop it."""
        self._try(lambda: self._stream.write(text))
        return len(text)

    def flush(self) -> None:
        """Flush what can be."""
        self._try(self._stream.flush)

    def _try(self, act: Callable[[], object]) -> None:
        try:
            act()
        except (OSError, ValueError):  # ValueError: somebody closed the stream
            discard(self._stream)

    def __getattr__(self, name: str) -> Any:
        """All else is the stream's own."""
        return getattr(self._stream, name)


def discard(stream: TextIO) -> None:
    """Send what the stream still holds, and all that comes, nowhere, so that no later flush fails on it again."""
    with suppress(OSError, ValueError):  # it has no file, or that is closed
        nowhere = os.open(os.devnull, os.O_WRONLY)
        try:
            os.dup2(nowhere, stream.fileno())
        finally:
            os.close(nowhere)


@contextmanager
def plain_output() -> Iterator[None]:
    """Inside, no control character of a stranger's text reaches the terminal, and every text can be written."""
    with _streams(PlainOutput):
        yield


@contextmanager
def lasting_output() -> Iterator[None]:
    """Inside, an output that fails ends nothing: what cannot be written is dropped."""
    with _streams(LastingOutput):
        yield


@contextmanager
def _streams(wrapper: Callable[[TextIO], object]) -> Iterator[None]:
    before = sys.stdout, sys.stderr
    try:
        sys.stdout, sys.stderr = (stream and cast(TextIO, wrapper(stream)) for stream in before)
        yield
    finally:
        sys.stdout, sys.stderr = before


Tone = Literal[1, 2, 3]
CAUGHT: Tone = 1
STILL_WAITING: Tone = 2
FAILED: Tone = 3
_BETWEEN_STROKES_S = 0.25
"""A terminal's bell lasts for about 0.1 s; two strokes closer than this run into one (a guess)."""


def ring(strokes: Tone = CAUGHT) -> None:
    """Ring the terminal's bell so often: hands and eyes are elsewhere. Nothing where the output is no terminal."""
    if sys.__stdout__ is None or not sys.__stdout__.isatty():
        return
    for stroke in range(strokes):
        if stroke:
            time.sleep(_BETWEEN_STROKES_S)
        sys.__stdout__.write("\a")
        sys.__stdout__.flush()
