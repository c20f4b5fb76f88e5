"""A command of ours as a process apart from the page: it outlives the page, and its end has a cause in words."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import tempfile
from typing import IO, Any, cast

APART: dict[str, Any] = {"start_new_session": True}
"""Keeps the page's Ctrl-C away from a recorder."""

END_SIGNAL: int = signal.SIGINT
if sys.platform == "win32":
    APART = {"creationflags": subprocess.CREATE_NEW_PROCESS_GROUP}
    END_SIGNAL = signal.CTRL_BREAK_EVENT

_WORDS_BYTES = 4000
"""The end of a process's output that is looked at, bytes: its last lines are in it."""
_SAYS = "meterlog: "
"""Stands before the sentence of an error."""
_KNOWN_ERROR = 2
"""The exit status of a command that ended with such a sentence."""


def output_file() -> IO[bytes]:
    """A file for what a process writes; nobody else sees it."""
    if sys.platform == "win32":  # a file that is deleted when it is closed cannot be opened again there
        return cast(IO[bytes], tempfile.NamedTemporaryFile(prefix="meterlog-", delete=False))
    return cast(IO[bytes], tempfile.TemporaryFile())


def tail(output: IO[bytes]) -> bytes:
    """Read the last bytes of an output file, at a place of its own: the process shares the file's position."""
    size = os.fstat(output.fileno()).st_size
    if sys.platform == "win32":
        with open(output.name, "rb") as again:
            again.seek(max(0, size - _WORDS_BYTES))
            return again.read()
    return os.pread(output.fileno(), _WORDS_BYTES, max(0, size - _WORDS_BYTES))


def cause_of_end(process: subprocess.Popen[bytes], output: IO[bytes], what: str) -> str:
    """Say why a process ended that was not asked to; '' while it runs, or where all went well.

    Only the sentence that a command ends a known error with is a cause. Whatever else stands last in its output is not.

    Args:
        process: the command.
        output: what it wrote.
        what: its name in the sentence: "the recorder".
    """
    status = process.poll()
    if not status:
        return ""
    if status == _KNOWN_ERROR:
        lines = tail(output).decode(errors="replace").splitlines()
        sentences = [line.removeprefix(_SAYS) for line in lines if line.startswith(_SAYS)]
        return sentences[-1] if sentences else f"{what} ended with an error that it did not name"
    if status < 0:
        return f"{what} was ended from outside ({signal.Signals(-status).name}): another program or the system ended it"
    return f"{what} ended because of a defect in it (exit status {status})"
