"""Writes what a bench measured into RESULTS.md beside this file: one section a bench, replaced at each run."""

from __future__ import annotations

import io
import os
import platform
import re
import shlex
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager, redirect_stdout
from datetime import UTC, datetime
from pathlib import Path

RESULTS = Path(__file__).with_name("RESULTS.md")
HEAD = """# What the benches measured

Written by the benches themselves (`python -m tests.bench` and its fellows); each section says when, on what and on
which commit. Absolute times drift by a factor of two between runs and machines: the ratios to something plain in the
same run carry over.
"""


def write(section: str, lines: list[str], path: Path = RESULTS) -> None:
    """Put a section into the results, in place of what stood under its name.

    Args:
        section: the bench's name; the section's heading.
        lines: Markdown, without a heading.
        path: the file; made where it is not there.
    """
    text = path.read_text() if path.exists() else HEAD
    body = "\n".join([_begin(section), f"## {section}", "", _circumstances(), "", *lines, _end(section), ""])
    old = re.compile(rf"{re.escape(_begin(section))}.*?{re.escape(_end(section))}\n", re.DOTALL)
    found = old.search(text)
    path.write_text(text[: found.start()] + body + text[found.end() :] if found else f"{text.rstrip()}\n\n{body}")


class _Both(io.TextIOBase):
    """Passes on what is printed and keeps it."""

    def __init__(self) -> None:
        self._shown, self.kept = sys.stdout, io.StringIO()

    def write(self, text: str) -> int:
        self._shown.write(text)
        return self.kept.write(text)

    def flush(self) -> None:
        self._shown.flush()


@contextmanager
def printed(section: str, *, markdown: bool = False, path: Path = RESULTS) -> Iterator[None]:
    """Write what is printed inside as a section, with the command line; nothing where the bench ends with an error.

    Args:
        section: the bench's name.
        markdown: what is printed is Markdown already; else it is fenced.
        path: the file.
    """
    both = _Both()
    with redirect_stdout(both):
        yield
    module = sys.modules["__main__"].__spec__
    command = f"`python -m {module.name if module else '?'} {shlex.join(sys.argv[1:])}`".replace(" `", "`")
    lines = both.kept.getvalue().strip("\n").splitlines()
    write(section, [command, "", *(lines if markdown else ["```text", *lines, "```"])], path)


def _begin(section: str) -> str:
    return f"<!-- {section} -->"


def _end(section: str) -> str:
    return f"<!-- /{section} -->"


def _circumstances() -> str:
    machine = f"{os.cpu_count()} cores, {platform.system()}, Python {platform.python_version()}"
    day = datetime.now(UTC).date().isoformat()
    return f"{day}, {machine}, commit {_commit()}, load at the end {os.getloadavg()[0]:.1f}."


def _commit() -> str:
    words = ["git", "-C", str(RESULTS.parent), "describe", "--always", "--dirty", "--abbrev=7"]
    said = subprocess.run(words, capture_output=True, text=True, check=False).stdout.strip()
    return said or "unknown"
