"""Holds what the job tests share: a job on the pump's circuit, and a vehicle that answers what is asked."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from meterlog.cli import main

Status = dict[str, Any]


@pytest.fixture
def job(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Callable[..., Status]:
    """Runs `meterlog job WHAT FOLDER ... --json`; the status it prints."""
    folder = tmp_path / "van"

    def run(what: str, *words: str) -> Status:
        capsys.readouterr()
        assert main(["job", what, str(folder), *words, "--json"]) == 0, capsys.readouterr().err
        found: Status = json.loads(capsys.readouterr().out)
        return found

    return run


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return tmp_path / "van"
