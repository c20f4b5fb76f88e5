"""The manuals' commands are understood, and their worked examples give what they say."""

from __future__ import annotations

import os
import re
import shlex
import shutil
from collections.abc import Iterator
from importlib import import_module
from pathlib import Path

import pytest

from meterlog.cli import main
from meterlog.cli.main import COMMANDS, _parser

ROOT = Path(__file__).parents[2]
TOPS = ("meterlog", "drivers", "dashboard", "recordings")
MANUALS = [ROOT / "README.md", *sorted(path for top in TOPS for path in (ROOT / top).rglob("README.md"))]
README = "\n".join(path.read_text() for path in MANUALS)
BLOCKS = [match[2] for match in re.finditer(r"^```(\w*)\n(.*?)^```", README, re.S | re.M)]


def _commands() -> Iterator[str]:
    for block in BLOCKS:
        for line in block.replace("\\\n", " ").splitlines():
            if line.startswith("meterlog "):
                yield line
    yield from re.findall(r"`(meterlog [a-z]+(?: [^`…]*)?)`", README)


COMMAND_LINES = sorted(set(_commands()))


NAMED_ONLY = {
    "meterlog analyze",
    "meterlog job",
    "meterlog follow",
    "meterlog mark",
    "meterlog meters --teach",
    "meterlog record",
    "meterlog record --plain",
    "meterlog record --raw",
    "meterlog trends",
}
"""Named in a sentence, without what they need."""


def block(holding: str) -> str:
    """The one code block of the READMEs that holds these words."""
    (found,) = {block for block in BLOCKS if holding in block}
    return found


def test_there_are_commands_to_check() -> None:
    assert {line.split()[1] for line in COMMAND_LINES} == set(COMMANDS)


@pytest.mark.parametrize("line", COMMAND_LINES)
def test_each_command_is_understood(line: str) -> None:
    _, command, *words = shlex.split(line, comments=True)
    if line not in NAMED_ONLY:
        _parser(command, import_module(COMMANDS[command][0])).parse_args(words)


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with the recordings of the project, as its own folder has them."""
    (tmp_path / "recordings").mkdir()
    for name in ("crank-good", "key-on-good-1", "key-on-good-2", "key-on-suspect"):
        shutil.copy(ROOT / "recordings" / f"{name}.sqlite", tmp_path / "recordings")
    monkeypatch.chdir(tmp_path)
    return tmp_path


def _run(*lines: str) -> None:
    for line in lines:
        assert line in COMMAND_LINES, f"no README says any more: {line}"
        assert main(shlex.split(line, comments=True)[1:]) == 0, line


def test_a_profile_is_written_and_tried(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (here / "mine.toml").write_text(block("# mine.toml"))
    frame = re.search(r"printf '(.*?)' > some\.raw +# (.*)", README)
    assert frame is not None
    (here / "some.raw").write_bytes(bytes(int(octal, 8) for octal in re.findall(r"\\(\d{3})", frame[1])))
    _run("meterlog meters --try mine.toml some.raw                  # each byte's meaning, or what is wrong with it")
    assert f"shows {frame[2]}" in capsys.readouterr().out


def test_a_text_profile_is_tried(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (here / "line.toml").write_text(block("# line.toml"))
    (here / "some.txt").write_bytes(b"ch1=12.524;mode=VDC;\r\n" * 3)
    assert main(["meters", "--try", "line.toml", "some.txt"]) == 0
    assert "12.524 V" in capsys.readouterr().out


def test_own_limits(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (here / "my-van.toml").write_text(block("missing_prime_within_s"))
    _run("meterlog analyze recordings/crank-good.sqlite --limits my-van.toml")
    assert "service manual of this van, chapter 8" in capsys.readouterr().out


@pytest.mark.usefixtures("here")
def test_known_good_against_suspect(capsys: pytest.CaptureFixture[str]) -> None:
    (line,) = [line for line in COMMAND_LINES if line.startswith("meterlog compare --good recordings")]
    _run(line)
    assert "DIFFERENT" in capsys.readouterr().out


def test_readings_in_a_file(here: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
    (here / "readings.toml").write_text(block("measured = ["))
    with open(os.devnull) as nothing:
        monkeypatch.setattr("sys.stdin", nothing)
        _run("meterlog diagnose --circuit pump-feed --measured readings.toml")
    said = capsys.readouterr().out
    assert "Measure next:" in said or "Enough is measured" in said


def test_a_table_comes_in_and_goes_out_and_comes_back(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (here / "log.csv").write_text("time_s,voltage\n0.0,12.31\n0.5,12.30\n1.0,9.80\n")
    into = "meterlog import log.csv --time time_s --value voltage --quantity dc_voltage --unit V"
    _run(f"{into} --dry-run", f"{into} --out crank.sqlite")
    for start in ("meterlog export", "meterlog import crank.csv"):
        _run(*(line for line in COMMAND_LINES if line.startswith(start)))
    assert main(["sessions", "--sort", "name"]) == 0
    assert capsys.readouterr().out.count("3 ") >= 2


def test_a_date_that_can_be_read_in_two_ways_is_the_error_shown(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (here / "log.csv").write_text("when,voltage\n01/02/2024 10:00:00,12.3\n01/02/2024 10:00:01,12.3\n")
    assert (
        main(
            [
                "import",
                "log.csv",
                "--time",
                "when",
                "--value",
                "voltage",
                "--quantity",
                "dc_voltage",
                "--unit",
                "V",
                "--out",
                "a.sqlite",
            ]
        )
        == 2
    )
    assert capsys.readouterr().err in BLOCKS


@pytest.mark.usefixtures("here")
def test_in_a_notebook() -> None:
    names: dict[str, object] = {}
    exec(block("import meterlog"), names)
    assert "feed" in names
