"""The manuals are short enough to be read, lead somewhere, and name no package index."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
SHORT, LONG = 10_240, 12_288
"""Bytes: one screen and links; a folder's manual."""

MANUALS = sorted(
    path for top in ("meterlog", "drivers", "dashboard", "recordings") for path in (ROOT / top).rglob("README.md")
)
ALL = [ROOT / "README.md", ROOT / "DEVELOPERS.md", *MANUALS]
INDEX = "pypi" + ".org"
FOLDERS = ("meterlog", "drivers", "dashboard", "tests", "recordings", ".ci")


FILES = [path for path in ROOT.glob("*.*") if not path.name.startswith(".")]
FILES += [path for top in FOLDERS for path in (ROOT / top).rglob("*") if "__pycache__" not in path.parts]


@pytest.mark.parametrize("path", ALL, ids=lambda path: str(path.relative_to(ROOT)))
def test_the_modules_that_each_names_are_there(path: Path) -> None:
    named = set(re.findall(r"`([a-z_0-9/]+\.(?:py|js|css|toml))`", path.read_text()))
    there = {f"/{file.relative_to(ROOT)}" for file in FILES}
    assert not [name for name in named if not any(file.endswith(f"/{name}") for file in there)]


def test_the_table_of_libraries_names_each_that_is_needed() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    needed = {*project["dependencies"], *(one for extra in project["optional-dependencies"].values() for one in extra)}
    table = (ROOT / "DEVELOPERS.md").read_text().partition("## What it stands on")[2]
    names = {re.split(r"[<>=\[]", text)[0] for text in needed} - {"meterlog"}
    assert not [name for name in names if name not in table]


@pytest.mark.parametrize("path", ALL, ids=lambda path: str(path.relative_to(ROOT)))
def test_each_is_short_and_its_links_lead_somewhere(path: Path) -> None:
    text = path.read_text()
    most = SHORT if path.parent == ROOT else LONG
    assert len(text.encode()) <= most
    for target in re.findall(r"\]\(([^)#\s]+)(?:#[^)]*)?\)", text):
        assert re.match(r"https?://", target) or (path.parent / target).exists(), target


def test_the_front_page_leads_to_every_manual() -> None:
    linked = set(re.findall(r"\]\(([^)]+\.md)\)", (ROOT / "README.md").read_text()))
    assert {str(path.relative_to(ROOT)) for path in MANUALS} <= linked


def test_no_file_names_the_address_of_a_package_index() -> None:
    texts = {path: text for path in FILES if path.is_file() and (text := _text(path))}
    assert {".md", ".py", ".toml", ".js", ".css", ".html", ""} <= {path.suffix for path in texts}
    assert not [path for path, text in texts.items() if INDEX in text]


def _text(path: Path) -> str:
    """A file's text, of whatever kind it is; nothing of one that is bytes, as a session or a picture is."""
    try:
        return path.read_text(encoding="utf-8")
    except UnicodeDecodeError:
        return ""
