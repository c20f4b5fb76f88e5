"""Manuals in the terminal, and what the Tab key completes."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from meterlog.cli.help import TOPICS
from meterlog.cli.main import COMMANDS, main


@pytest.mark.parametrize("topic", TOPICS)
def test_each_manual_is_shown(topic: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["help", topic]) == 0
    shown = capsys.readouterr().out
    assert shown.startswith("# ")
    assert len(shown.splitlines()) > 20


def test_help_alone_lists_the_manuals(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["help"]) == 0
    assert [line.split()[0] for line in capsys.readouterr().out.splitlines()] == list(TOPICS)


def test_an_unknown_manual_gets_the_nearest_name(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["help", "circiut"]) == 2
    assert "did you mean 'circuit'?" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("typed", "offered"),
    [
        (["meterlog", "rec"], "record"),
        (["meterlog", "analyze", "--lim"], "--limits"),
        (["meterlog", "job", "mea"], "measure"),
    ],
)
def test_bash_completes_commands_and_options(typed: list[str], offered: str, tmp_path: Path) -> None:
    script = tmp_path / "completion"
    script.write_text(
        subprocess.run(
            [sys.executable, "-m", "meterlog", "completion", "bash"], capture_output=True, text=True, check=True
        ).stdout
    )
    words = " ".join(typed)
    line = (
        f"source {script}; COMP_WORDS=({words}); COMP_CWORD={len(typed) - 1}; _shtab_meterlog; echo ${{COMPREPLY[@]}}"
    )
    done = subprocess.run(["bash", "-c", line], capture_output=True, text=True, check=True)
    assert done.stdout.split() == [offered]


def test_every_command_has_its_place_in_the_overview(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["--help"]) == 0
    shown = capsys.readouterr().out
    assert all(f"\n  {name} " in shown for name in COMMANDS)
