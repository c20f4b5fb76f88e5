"""The template of an outside driver builds, installs, keeps every promise, and is found, emulated and recorded."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]


Installed = tuple[Path, dict[str, str]]


@pytest.fixture(scope="module")
def installed(tmp_path_factory: pytest.TempPathFactory) -> Installed:
    """A copy of the template, and the environment in which it is installed."""
    folder = tmp_path_factory.mktemp("outside")
    copy, site = folder / "my-meter", folder / "site"
    shutil.copytree(ROOT / "drivers" / "template", copy)
    subprocess.run(
        [sys.executable, "-m", "pip", "install", "-q", "--no-deps", "--target", site, copy], check=True, cwd=folder
    )
    return copy, {**os.environ, "PYTHONPATH": str(site)}


def _meterlog(words: str, env: dict[str, str], folder: Path) -> str:
    done = subprocess.run(
        [sys.executable, "-m", "meterlog", *words.split()],
        env=env,
        cwd=folder,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


def test_its_own_tests_pass(installed: Installed) -> None:
    copy, env = installed
    done = subprocess.run(
        [sys.executable, "-m", "pytest", "-q", "-p", "no:dash", copy],
        env=env,
        cwd=copy,
        capture_output=True,
        text=True,
        check=False,
    )
    assert re.search(r"\b2 passed", done.stdout), done.stdout + done.stderr


def test_it_is_listed_and_records_what_its_emulation_shows(installed: Installed, tmp_path: Path) -> None:
    _, env = installed
    assert "mymeter" in _meterlog("meters --drivers", env, tmp_path)
    emulate = [sys.executable, "-m", "meterlog", "emulate", "healthy-prime", "--driver", "mymeter"]
    with subprocess.Popen(emulate, env=env, cwd=tmp_path, stdout=subprocess.PIPE, text=True) as emulated:
        assert emulated.stdout is not None
        port = next(found[0] for line in emulated.stdout if (found := re.search(r"/dev/pts/\d+", line)))
        try:
            said = _meterlog(f"record --meter mymeter:{port} --for 3 --out a.sqlite", env, tmp_path)
        finally:
            emulated.terminate()
    assert "readings" in said
