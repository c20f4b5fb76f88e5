"""A person at the command line: runs commands in a folder, keeps what was typed and what came back."""

from __future__ import annotations

import contextlib
import os
import re
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

METERLOG = (sys.executable, "-m", "meterlog")
_QUESTION = re.compile(r"\nReading \(.*\): $")


class Person:
    """Types commands in a folder and reads what they say.

    Attributes:
        folder: where.
        said: the transcript so far.
    """

    def __init__(self, folder: Path, *, aloud: bool = False) -> None:
        """In that folder; `aloud` prints the transcript as it comes."""
        self.folder = folder
        self.aloud = aloud
        self.said: list[str] = []

    def tells(self, words: str) -> None:
        """A sentence of the person's own."""
        self._say(f"\n# {words}")

    def types(self, *words: str, expected: int = 0) -> str:
        """Run a command to its end; its standard output.

        Raises:
            AssertionError: it ends with another status than expected.
        """
        done = subprocess.run(
            [*METERLOG, *words],
            cwd=self.folder,
            stdin=subprocess.DEVNULL,
            capture_output=True,
            text=True,
            timeout=60,
            check=False,
        )
        self._keep(words, done.stdout + done.stderr)
        assert done.returncode == expected, done.stdout + done.stderr
        return done.stdout

    @contextlib.contextmanager
    def beside(self, *words: str) -> Iterator[Emulated]:
        """A simulated meter in another shell, until the block ends."""
        process = subprocess.Popen([*METERLOG, *words], cwd=self.folder, stdout=subprocess.PIPE, text=True)
        try:
            one = Emulated(process)
            self._keep(words, "\n".join(one.lines) + "\n")
            yield one
        finally:
            process.send_signal(signal.SIGINT)
            process.wait(5.0)
            if process.stdout is not None:
                process.stdout.close()

    def types_and_meanwhile(self, words: Sequence[str], wait_for: str, meanwhile: Callable[[], None]) -> str:
        """Run a command; do something once it printed `wait_for`; all that it printed."""
        with subprocess.Popen(
            [*METERLOG, *words],
            cwd=self.folder,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
        ) as process:
            assert process.stdout is not None
            printed = ""
            for line in process.stdout:
                printed += line
                if wait_for in line:
                    break
            assert wait_for in printed, printed
            meanwhile()
            printed += process.stdout.read()
        self._keep(words, printed)
        assert process.returncode == 0, printed
        return printed

    def answers(self, words: Sequence[str], answer: Callable[[str], str], timeout_s: float = 60.0) -> str:
        """Run a command in a real terminal and answer its questions, given all that it showed since the last one."""
        master, slave = os.openpty()
        shown, asked = "", 0
        with subprocess.Popen(
            [*METERLOG, *words], cwd=self.folder, stdin=slave, stdout=slave, stderr=slave, start_new_session=True
        ) as process:
            os.close(slave)
            end_s = time.monotonic() + timeout_s
            with contextlib.suppress(OSError):  # a terminal whose other side is gone
                while time.monotonic() < end_s and (more := os.read(master, 65536)):
                    shown += more.decode().replace("\r\n", "\n")
                    if _QUESTION.search(shown) and len(shown) > asked:
                        question, asked = shown[asked:], len(shown)
                        os.write(master, f"{answer(question)}\n".encode())
            os.close(master)
            status = process.wait(5.0)
        self._keep(words, shown)
        assert status == 0, shown
        return shown

    def _keep(self, words: Sequence[str], printed: str) -> None:
        self._say(f"\n$ meterlog {_as_typed(words)}\n{printed.rstrip()}")

    def _say(self, text: str) -> None:
        self.said.append(text)
        if self.aloud:
            print(text, flush=True)


class Emulated:
    """Return what a simulated meter printed at its start."""

    def __init__(self, process: subprocess.Popen[str]) -> None:
        assert process.stdout is not None
        self.lines = [process.stdout.readline().rstrip("\n")]
        while self.lines[-1] and not self.lines[-1].endswith("Ctrl-C"):
            self.lines.append(process.stdout.readline().rstrip("\n"))
        self.ports = [line for line in self.lines if not line.startswith(" ")]


def _as_typed(words: Sequence[str]) -> str:
    return " ".join(f'"{word}"' if re.search(r"[\s&?>]", word) else word for word in words)
