"""Prints a report to PDF with the Chromium on this computer."""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
from pathlib import Path

from meterlog.errors import MeterlogError, UsageError

_NAMES = ("chromium", "chromium-browser", "google-chrome", "chrome", "msedge")
_TIMEOUT_S = 120.0
"""Longest time for printing; ten plots take about 5 s. A guess."""


def find_browser() -> str | None:
    """The path of a Chromium; None where there is none."""
    return next((path for path in map(shutil.which, _NAMES) if path), None)


def print_pdf(page: Path, pdf: Path) -> None:
    """Print an HTML file to an A4 PDF.

    Raises:
        UsageError: there is no Chromium on this computer.
        MeterlogError: it did not make the file.
    """
    browser = find_browser()
    if browser is None:
        raise UsageError(f"--pdf needs Chromium, and there is none here; open {page} in any browser and print it")
    with tempfile.TemporaryDirectory(prefix="meterlog-pdf-") as profile:
        command = [
            browser,
            "--headless",
            "--disable-gpu",
            "--no-first-run",
            "--window-size=740,1050",
            "--virtual-time-budget=20000",
            "--no-pdf-header-footer",
            f"--user-data-dir={profile}",
            f"--print-to-pdf={pdf.resolve()}",
            page.resolve().as_uri(),
        ]
        if hasattr(os, "geteuid") and os.geteuid() == 0:
            command.insert(1, "--no-sandbox")
        before = pdf.stat().st_mtime_ns if pdf.exists() else None
        try:
            done = subprocess.run(
                command, capture_output=True, encoding="utf-8", errors="replace", timeout=_TIMEOUT_S, check=False
            )
        except subprocess.TimeoutExpired as error:
            raise MeterlogError(f"Chromium did not print {page} within {_TIMEOUT_S:g} s") from error
        except OSError as error:
            raise MeterlogError(f"Chromium did not print {page}: {error.strerror or error}") from error
    if not pdf.exists() or pdf.stat().st_mtime_ns == before:
        said = next((line for line in reversed(done.stderr.splitlines()) if line.strip()), "it said nothing")
        raise MeterlogError(f"Chromium made no {pdf}: {said}")
