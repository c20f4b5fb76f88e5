"""Writes what a bench measured into its own section of `RESULTS.md`."""

from __future__ import annotations

import os
import platform
from datetime import UTC, datetime
from pathlib import Path

FILE = Path(__file__).with_name("RESULTS.md")


def write(section: str, lines: list[str]) -> None:
    """Put `lines` (Markdown) in the place of what stands in that section, or behind all others."""
    begin, end = f"<!-- {section} -->", f"<!-- end of {section} -->"
    machine = f"{os.cpu_count()} cores, Python {platform.python_version()}, load {os.getloadavg()[0]:.1f}"
    when = f"{datetime.now(UTC):%Y-%m-%d}, {machine}"
    body = "\n".join([begin, f"## {section.capitalize()}", "", when, "", *lines, end])
    text = FILE.read_text() if FILE.exists() else "# What the benches measured\n"
    before, found, rest = text.partition(begin)
    FILE.write_text(before + body + rest.partition(end)[2] if found else f"{text.rstrip()}\n\n{body}\n")
