"""Checks photos of a job: copied in, upright and small, and nothing of the camera's notes with them."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

from meterlog.cli import main

Run = Callable[..., dict[str, Any]]
ORIENTATION, MAKE, GPS = 0x0112, 0x010F, 0x8825


@pytest.fixture
def photo(tmp_path: Path) -> Path:
    """A large photo that lies on its side, left half red, with the place and a remark in it."""
    picture = Image.new("RGB", (2400, 1200), "blue")
    picture.paste("red", (0, 0, 1200, 1200))
    notes = Image.Exif()
    notes[ORIENTATION], notes[MAKE] = 6, "a camera"
    notes.get_ifd(GPS)[2] = (48.0, 8.0, 12.0)
    path = tmp_path / "burnt relay.jpeg"
    picture.save(path, exif=notes, comment=b"at home")
    return path


@pytest.fixture
def started(job: Run) -> dict[str, Any]:
    return job("start", "--complaint", "cranks, does not start")


@pytest.mark.usefixtures("started")
def test_a_photo_is_copied_upright_and_small_and_says_nothing_of_where_it_was_taken(
    job: Run, folder: Path, photo: Path
) -> None:
    job("photo", str(photo), "--caption", "the burnt relay")
    copy = folder / "photo-01-burnt_relay.jpg"
    with Image.open(copy) as kept:
        assert kept.size == (800, 1600)
        top = kept.convert("RGB").getpixel((400, 100))
        assert isinstance(top, tuple)
        assert top[0] > 200 > top[2]
        assert not kept.getexif()
        assert "comment" not in kept.info
    assert b"Exif" not in copy.read_bytes()
    text = (folder / "job.toml").read_text("utf-8")
    assert 'file = "photo-01-burnt_relay.jpg"' in text
    assert 'caption = "the burnt relay"' in text


@pytest.mark.usefixtures("started")
def test_a_second_photo_of_the_same_name_keeps_the_first(job: Run, folder: Path, photo: Path) -> None:
    job("photo", str(photo))
    job("photo", str(photo))
    assert {path.name for path in folder.glob("*.jpg")} == {"photo-01-burnt_relay.jpg", "photo-02-burnt_relay.jpg"}


def damaged(path: Path, photo: Path) -> None:
    path.write_bytes(photo.read_bytes()[:3000])


def text(path: Path, photo: Path) -> None:
    path.write_bytes(photo.name.encode())


def many_pixels(path: Path, photo: Path) -> None:
    Image.new("1", (20_000, 10_000)).save(path, "PNG", comment=photo.name)


def nothing(path: Path, photo: Path) -> None:
    del path, photo


@pytest.mark.parametrize(
    ("make", "said"),
    [
        (damaged, "cannot be read"),
        (text, "is no photo that can be read: JPEG, PNG and WebP can"),
        (many_pixels, "more than 120 megapixels"),
        (nothing, "cannot be read: No such file"),
    ],
)
@pytest.mark.usefixtures("started")
def test_what_is_no_photo_is_refused_and_the_job_stays(
    make: Callable[[Path, Path], None],
    said: str,
    folder: Path,
    photo: Path,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    wrong = tmp_path / "wrong.jpg"
    make(wrong, photo)
    before = (folder / "job.toml").read_text("utf-8")
    assert main(["job", "photo", str(folder), str(wrong)]) == 2
    assert said in capsys.readouterr().err
    assert (folder / "job.toml").read_text("utf-8") == before
    assert not list(folder.glob("photo-*"))
