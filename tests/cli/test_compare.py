"""`meterlog compare` on the sample recordings."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest

from meterlog.cli import main
from meterlog.comparing import compare
from meterlog.comparing.comparison_text import as_text

RECORDINGS = Path(__file__).parents[2] / "recordings"
GOOD = [RECORDINGS / "key-on-good-1.sqlite", RECORDINGS / "key-on-good-2.sqlite"]
SUSPECT = RECORDINGS / "key-on-suspect.sqlite"


def test_text_shows_the_verdict_the_table_and_the_excursions(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["compare", "--good", str(GOOD[0]), "--good", str(GOOD[1]), str(SUSPECT)]) == 0
    out = capsys.readouterr().out
    assert out == as_text(compare(GOOD, SUSPECT))
    assert "DIFFERENT: The suspect differs" in out
    assert "excursion: " in out


def test_json_is_one_object_as_the_readme_says(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["compare", "--json", "--good", str(GOOD[0]), str(SUSPECT)]) == 0
    found = json.loads(capsys.readouterr().out)
    assert list(found) == ["good", "suspect", "verdict", "channels", "unpaired", "notes"]
    channel = found["channels"][0]
    assert channel["verdict"] == found["verdict"] == "different"
    assert {"measure", "part", "unit", "good", "suspect", "difference", "uncertainty", "verdict"} <= set(
        channel["measures"][0]
    )
    assert {"start_s", "end_s", "value", "reference", "beyond"} <= set(channel["excursions"][0])


def test_before_and_after_are_roles_of_their_own(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["compare", "--before", str(SUSPECT), "--after", str(GOOD[0])]) == 0
    out = capsys.readouterr().out
    assert out.startswith(f"before: {SUSPECT}\nafter:  {GOOD[0]}\n")
    assert "DIFFERENT: The session after differs from the session before" in out
    assert "known-good" not in out
    assert "suspect" not in out.replace(str(SUSPECT), "")
    assert main(["compare", "--json", "--before", str(SUSPECT), "--after", str(GOOD[0])]) == 0
    found = json.loads(capsys.readouterr().out)
    assert list(found) == ["before", "after", "verdict", "channels", "unpaired", "notes"]
    assert (found["before"], found["after"]) == ([str(SUSPECT)], str(GOOD[0]))


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ("--before a --good b", "either --good SESSION with SUSPECT, or --before SESSION with --after SESSION"),
        ("--before a", "--before needs --after too"),
        ("--after a", "--after needs --before too"),
        ("a", "name --good SESSION and a SUSPECT"),
    ],
)
def test_sides_that_do_not_belong_together(words: str, said: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["compare", *words.split()]) == 2
    assert said in capsys.readouterr().err


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--pair", "pump", "x.sqlite"], "--pair needs GOOD=SUSPECT"),
        (["absent.sqlite"], "absent.sqlite"),
    ],
)
def test_mistakes_are_one_line(capsys: pytest.CaptureFixture[str], words: list[str], said: str) -> None:
    assert main(["compare", "--good", str(GOOD[0]), *words]) == 2
    err = capsys.readouterr().err
    assert said in err
    assert err.count("\n") == 1


def test_a_folder_of_known_good_is_all_its_sessions(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for path in GOOD:
        shutil.copy(path, tmp_path)
    (tmp_path / "notes.txt").write_text("no session")
    assert main(["compare", "--json", "--good", str(tmp_path), str(SUSPECT)]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["good"] == [str(tmp_path / path.name) for path in GOOD]
    assert found["verdict"] == "different"


def test_a_folder_without_a_session_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["compare", "--good", str(tmp_path), str(SUSPECT)]) == 2
    assert capsys.readouterr().err == f"meterlog: there are no sessions in the folder '{tmp_path}'\n"
