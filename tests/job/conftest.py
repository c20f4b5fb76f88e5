"""Holds what the job tests share: a job on the pump's circuit, and a vehicle that answers what is asked."""

from __future__ import annotations

import io
import json
from collections.abc import Callable
from contextlib import redirect_stdout
from functools import partial
from pathlib import Path
from typing import Any

import pytest

from meterlog.cli import main

Status = dict[str, Any]


@pytest.fixture
def job(folder: Path) -> Callable[..., Status]:
    """Runs `meterlog job WHAT FOLDER ... --json`; the status it prints."""
    return partial(run_job, folder)


def run_job(folder: Path, what: str, *words: str) -> Status:
    """Run `meterlog job WHAT FOLDER ... --json`; the status it prints."""
    with redirect_stdout(io.StringIO()) as said:
        assert main(["job", what, str(folder), *words, "--json"]) == 0
    found: Status = json.loads(said.getvalue())
    return found


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return tmp_path / "van"
