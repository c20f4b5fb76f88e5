"""No name from a browser reaches a file outside the folder."""

from __future__ import annotations

from pathlib import Path

import pytest

from meterlog.errors import NotASession
from meterlog_dashboard.session_files.folder import SessionFolder, job_of


@pytest.fixture
def folder(tmp_path: Path) -> SessionFolder:
    (tmp_path / "outside.sqlite").touch()
    folder = tmp_path / "sessions"
    (folder / "sub.sqlite").mkdir(parents=True)
    for name in ("van one.sqlite", ".hidden.sqlite", "notes.txt"):
        (folder / name).touch()
    (folder / "link.sqlite").symlink_to(tmp_path / "outside.sqlite")
    for name in ("van", "no-job", "van/deeper", ".removed"):
        (folder / name).mkdir()
        (folder / name / "one.sqlite").touch()
        if name != "no-job":
            (folder / name / "job.toml").touch()
    (folder / "van" / "link.sqlite").symlink_to(tmp_path / "outside.sqlite")
    (folder / "van" / "up.sqlite").symlink_to(folder / "van one.sqlite")
    (tmp_path / "job").mkdir()
    for name in ("one.sqlite", "job.toml"):
        (tmp_path / "job" / name).touch()
    (folder / "linked").symlink_to(tmp_path / "job")
    (folder / "file-linked").mkdir()
    (folder / "file-linked" / "one.sqlite").touch()
    (folder / "file-linked" / "job.toml").symlink_to(tmp_path / "job" / "job.toml")
    return SessionFolder(folder)


def test_a_session_of_the_folder_is_found(folder: SessionFolder) -> None:
    assert folder.file("van one.sqlite") == folder.path / "van one.sqlite"


def test_a_session_in_the_folder_of_a_job_is_found(folder: SessionFolder) -> None:
    assert folder.file("van/one.sqlite") == folder.path / "van" / "one.sqlite"
    assert job_of("van/one.sqlite") == "van"
    assert job_of("van one.sqlite") == ""


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
        "n" * 5000 + "/one.sqlite",
        "no-job/one.sqlite",
        "van/deeper/one.sqlite",
        "van/../van one.sqlite",
        "../sessions/van one.sqlite",
        "../job/one.sqlite",
        "/van/one.sqlite",
        "van//one.sqlite",
        "van/link.sqlite",
        "van/up.sqlite",
        "van/job.toml",
        ".removed/one.sqlite",
        "linked/one.sqlite",
        "file-linked/one.sqlite",
    ],
)
def test_no_other_name_is_a_session(folder: SessionFolder, name: str) -> None:
    with pytest.raises(NotASession):
        folder.file(name)
