"""`meterlog report`: writes beside, refuses what would destroy, and says where it is."""

from __future__ import annotations

from pathlib import Path

import pytest

from meterlog.cli import main
from meterlog.report import pdf

RECORDINGS = Path(__file__).parents[2] / "recordings"
SESSION = str(RECORDINGS / "key-on-suspect.sqlite")


def test_it_writes_one_file_and_says_where(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "report.html"
    good = str(RECORDINGS / "key-on-good-1.sqlite")
    assert main(["report", SESSION, "--good", good, "--title", "A & B", "--out", str(out)]) == 0
    assert f"{out}: " in capsys.readouterr().out
    page = out.read_text("utf-8")
    assert "<title>A &amp; B</title>" in page
    assert "Compared with known-good" in page
    assert [path.name for path in tmp_path.iterdir()] == ["report.html"]


@pytest.mark.parametrize(
    ("out", "said"),
    [
        ("report.pdf", "end in .html"),
        ("absent/report.html", "there is no folder"),
        ("folder.html", "is a folder"),
    ],
)
def test_a_wrong_place_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str], out: str, said: str) -> None:
    (tmp_path / "folder.html").mkdir()
    assert main(["report", SESSION, "--out", str(tmp_path / out)]) == 2
    assert said in capsys.readouterr().err


def test_an_existing_file_is_kept_unless_it_shall_be_replaced(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "report.html"
    out.write_text("keep me")
    assert main(["report", SESSION, "--out", str(out)]) == 2
    assert "exists already: give another name, or --replace to write over it" in capsys.readouterr().err
    assert out.read_text() == "keep me"
    assert main(["report", SESSION, "--replace", "--out", str(out)]) == 0
    assert "<title>" in out.read_text("utf-8")


def test_a_session_is_never_overwritten(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    disguised = tmp_path / "session.html"
    disguised.write_bytes(Path(SESSION).read_bytes())
    assert main(["report", str(disguised), "--out", str(disguised)]) == 2
    assert "would overwrite" in capsys.readouterr().err
    assert disguised.read_bytes() == Path(SESSION).read_bytes()


def test_without_a_chromium_the_page_is_kept_and_the_way_out_is_named(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(pdf, "find_browser", lambda: None)
    out = tmp_path / "report.html"
    assert main(["report", SESSION, "--pdf", "--out", str(out)]) == 2
    assert "open" in capsys.readouterr().err
    assert out.exists()
