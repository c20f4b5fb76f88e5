"""The option `--to` of a recording: a process of its own tells other programs what the session's file holds."""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from meterlog.errors import UsageError

_LAST_WORDS_S = 5.0
"""Longest wait after the recording for a listener to take the rest, s (a guess)."""


def add_told_to(parser: argparse.ArgumentParser) -> None:
    """Declare `--to`."""
    parser.add_argument(
        "--to",
        metavar="WHERE",
        type=_where,
        help="tell other programs: - for JSON lines on standard output, or mqtt://HOST/TOPIC",
    )


def _where(text: str) -> str:
    if text != "-" and not text.startswith(("mqtt://", "mqtts://")):
        raise argparse.ArgumentTypeError(f"must be - or mqtt://HOST/TOPIC, not '{text}'")
    return text


@contextmanager
def output_for_listeners(where: str | None) -> Iterator[int | None]:
    """Free standard output for the JSON lines: what the recording itself says goes to standard error.

    Yields:
        The descriptor of what was standard output; None where nothing is to go there.

    Raises:
        UsageError: there is no standard output.
    """
    if where != "-":
        yield None
        return
    try:
        told, errors = os.dup(1), sys.stderr.fileno()
    except (OSError, ValueError, AttributeError) as error:
        raise UsageError("--to - needs a standard output") from error
    os.dup2(errors, 1)
    try:
        yield told
    finally:
        os.close(told)


@contextmanager
def telling(path: Path, where: str | None, output: int | None) -> Iterator[None]:
    """Tell what comes into a session while inside. A listener that is slow, or gone, never holds up the recording."""
    if where is None:
        yield
        return
    words = [sys.executable, "-m", "meterlog", "follow", str(path), "--to", where]
    # A session of its own: Ctrl-C ends the recording, and the listener hears the rest of it.
    listener = subprocess.Popen(words, stdin=subprocess.DEVNULL, stdout=output, start_new_session=True)
    try:
        yield
    finally:
        try:
            listener.wait(_LAST_WORDS_S)
        except subprocess.TimeoutExpired:
            listener.terminate()
            print(
                "note: the listener of --to did not take everything in time; it is all in the session", file=sys.stderr
            )
            listener.wait()
