"""No name from a browser reaches a file outside the folder."""

from __future__ import annotations

from pathlib import Path

import pytest

from meterlog.errors import NotASession
from meterlog_dashboard.session_files.folder import SessionFolder


@pytest.fixture
def folder(tmp_path: Path) -> SessionFolder:
    (tmp_path / "outside.sqlite").touch()
    folder = tmp_path / "sessions"
    (folder / "sub.sqlite").mkdir(parents=True)
    for name in ("van one.sqlite", ".hidden.sqlite", "notes.txt"):
        (folder / name).touch()
    (folder / "link.sqlite").symlink_to(tmp_path / "outside.sqlite")
    return SessionFolder(folder)


def test_a_session_of_the_folder_is_found(folder: SessionFolder) -> None:
    assert folder.file("van one.sqlite") == folder.path / "van one.sqlite"


@pytest.mark.parametrize(
    "name",
    [
        "../outside.sqlite",
        "..\\outside.sqlite",
        "/etc/passwd",
        "sub.sqlite",
        ".hidden.sqlite",
        "notes.txt",
        "link.sqlite",
        "gone.sqlite",
        "",
        ".",
        "..",
        "van one.sqlite\x00.sqlite",
        "van one.sqlite/",
        "n" * 5000 + ".sqlite",
    ],
)
def test_no_other_name_is_a_session(folder: SessionFolder, name: str) -> None:
    with pytest.raises(NotASession):
        folder.file(name)
