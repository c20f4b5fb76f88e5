"""Writes what a bench measured into RESULTS.md beside this file: one section a bench, replaced at each run."""

from __future__ import annotations

import os
import platform
import re
import subprocess
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
