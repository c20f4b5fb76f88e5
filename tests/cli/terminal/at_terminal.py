"""Holds a command that runs at a pseudo-terminal of a given size: what it shows is read, keys are pressed."""

from __future__ import annotations

import fcntl
import os
import pty
import re
import select
import signal
import struct
import sys
import termios
import time
from pathlib import Path
from types import TracebackType
from typing import Self

LONGEST_S = 60.0
"""A busy machine needs that long at the most, s; nothing is asserted about it."""
_ESCAPES = re.compile(r"\x1b\[[0-9;?]*[A-Za-z]")


class AtTerminal:
    """A run of `meterlog WORDS` at a terminal of its own."""

    def __init__(self, *words: str, columns: int = 40, rows: int = 24, folder: Path | None = None) -> None:
        """Begin it, in a folder."""
        self.shown = ""
        self._seen = 0
        self._process, self._terminal = pty.fork()
        if self._process == 0:
            os.chdir(folder or Path.cwd())
            os.environ.update(TERM="xterm", COLUMNS=str(columns), LINES=str(rows))
            os.execv(sys.executable, [sys.executable, "-m", "meterlog", *words])
        fcntl.ioctl(self._terminal, termios.TIOCSWINSZ, struct.pack("HHHH", rows, columns, 0, 0))

    def __enter__(self) -> Self:
        return self

    def __exit__(self, _: type[BaseException] | None, __: BaseException | None, ___: TracebackType | None) -> None:
        try:
            os.kill(self._process, signal.SIGKILL)
        except ProcessLookupError:
            pass
        os.close(self._terminal)
        try:
            os.waitpid(self._process, 0)
        except ChildProcessError:
            pass

    def until(self, *texts: str) -> str:
        """Wait until one of some texts is shown that was not before; which. Line ends are blanks."""
        end_s = time.monotonic() + LONGEST_S
        while time.monotonic() < end_s:
            for text in texts:
                if self._passed(text):
                    return text
            if not self._read():
                break
        raise AssertionError(f"none of {texts} came; shown: {self.plain[-2000:]}")

    def came(self, text: str) -> bool:
        """Look a moment for a text that was not shown before."""
        self._read()
        return self._passed(text)

    def _passed(self, text: str) -> bool:
        """Tell whether a text is shown behind what was seen, and go on behind its last place: what follows is new."""
        places = [*re.finditer(r"\s+".join(map(re.escape, text.split(" "))), self.plain[self._seen :])]
        if places:
            self._seen += places[-1].end()
        return bool(places)

    def press(self, keys: str) -> None:
        """Press keys."""
        os.write(self._terminal, keys.encode())

    def ended(self) -> int:
        """Wait for its end; the exit status."""
        while self._read():
            pass
        return os.waitstatus_to_exitcode(os.waitpid(self._process, 0)[1])

    @property
    def plain(self) -> str:
        """All that was shown, without what moves the cursor and colours."""
        return _ESCAPES.sub("", self.shown).replace("\r", "\n")

    @property
    def lines(self) -> list[str]:
        """The lines of it."""
        return [line.rstrip() for line in self.plain.split("\n")]

    def _read(self) -> bool:
        if not select.select([self._terminal], [], [], 0.2)[0]:
            return True
        try:
            data = os.read(self._terminal, 65536)
        except OSError:  # the other end is closed
            return False
        self.shown += data.decode(errors="replace")
        return bool(data)
