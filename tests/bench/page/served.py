"""The page as its command serves it, and a browser to look at it with."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from tests.conftest import CHROMIUM_ARGUMENTS

if TYPE_CHECKING:
    from playwright.sync_api import Browser


@contextmanager
def served(folder: Path) -> Iterator[tuple[str, subprocess.Popen[str]]]:
    """The page over a folder, on a free port: its address and its process."""
    command = [sys.executable, "-m", "meterlog", "page", "--port", "0", str(folder)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as server:
        try:
            assert server.stdout is not None
            yield server.stdout.readline().split()[4].rstrip("/"), server
        finally:
            server.terminate()


@contextmanager
def chromium() -> Iterator[Browser]:
    """A browser of the computer."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path="/usr/bin/chromium", args=CHROMIUM_ARGUMENTS)
        yield browser
        browser.close()
