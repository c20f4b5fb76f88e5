"""A release is checked before it is built: version, changes, tags, nothing uncommitted."""

from __future__ import annotations

import re
import shutil
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

from meterlog.drawing.script import drawing_library

ROOT = Path(__file__).parents[1]


class Project:
    """The few files that the release script looks at, in a repository of their own."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        (folder / ".ci").mkdir(parents=True)
        (folder / "meterlog").mkdir()
        shutil.copy(ROOT / ".ci" / "release", folder / ".ci" / "release")
        self.write("1.2.0", "1.2.0", "1.2.0")
        self.git("init", "-q")
        self.git("config", "user.name", "somebody")
        self.git("config", "user.email", "somebody@example.org")
        self.commit()

    def write(self, declared: str, own: str, noted: str) -> None:
        """Say the version where it stands."""
        (self.folder / "pyproject.toml").write_text(f'[project]\nname = "x"\nversion = "{declared}"\n')
        (self.folder / "meterlog" / "__init__.py").write_text(f'__version__ = "{own}"\n')
        (self.folder / "CHANGELOG.md").write_text(f"# Changes\n\n## {noted}\n\n## 1.0.0\n")

    def git(self, *words: str) -> None:
        """Run git."""
        subprocess.run(["git", *words], cwd=self.folder, check=True)

    def commit(self) -> None:
        """Commit what is there."""
        self.git("add", "-A")
        self.git("commit", "-q", "-m", "x", "--no-gpg-sign")

    def check(self) -> tuple[int, str]:
        """Return the script's exit status and what it says."""
        words = [sys.executable, str(self.folder / ".ci" / "release"), "--check"]
        done = subprocess.run(words, capture_output=True, text=True, check=False)
        return done.returncode, done.stdout + done.stderr


@pytest.fixture
def project(tmp_path: Path) -> Project:
    return Project(tmp_path / "project")


def test_the_licences_of_what_is_copied_into_the_wheel_go_with_it() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    texts = {Path(name).name: (ROOT / name).read_text("utf-8") for name in project["license-files"]}
    carried = texts["plotly-basic.third-party.LICENSE"]
    version = re.search(r"plotly\.js \(basic - minified\) v([\d.]+)", drawing_library()[:200])
    assert version is not None
    assert f"plotly.js {version[1]} carries" in carried
    named = re.findall(r"^={20,}\n(\S+) [\d.]+: (\S+)\n={20,}$", carried, re.MULTILINE)
    assert len(named) == 22
    assert {licence for _, licence in named} <= set(project["license"].split(" AND "))


def test_what_is_complete_can_be_released_once(project: Project) -> None:
    project.git("tag", "v1.1.9")
    assert project.check() == (0, "1.2.0 can be released\n")
    project.git("tag", "v1.2.0")
    assert project.check() == (1, "release: the tag v1.2.0 is there already\n")


@pytest.mark.parametrize(
    ("versions", "said"),
    [
        (("1.2.0", "1.1.0", "1.2.0"), "meterlog/__init__.py says version 1.1.0, pyproject.toml 1.2.0"),
        (("1.2.0", "1.2.0", "1.1.0"), "CHANGELOG.md begins with '1.1.0', not with 1.2.0"),
        (("1.2", "1.2", "1.2"), "the version '1.2' of pyproject.toml is not three numbers"),
        (("1.10.0", "1.10.0", "1.10.0"), "1.10.0 comes before what is tagged: v1.11.0"),
    ],
)
def test_what_does_not_fit_is_named(project: Project, versions: tuple[str, str, str], said: str) -> None:
    project.git("tag", "v1.9.0")
    if versions[0] == "1.10.0":
        project.git("tag", "v1.11.0")
        project.git("tag", "-d", "v1.9.0")
    project.write(*versions)
    project.commit()
    status, words = project.check()
    assert status == 1
    assert f"release: {said}" in words


def test_uncommitted_changes_are_named(project: Project) -> None:
    (project.folder / "CHANGELOG.md").write_text("# Changes\n\n## 1.2.0\n\nmore\n")
    assert project.check() == (1, "release: there are changes that are not committed\n")


def test_this_version_stands_the_same_everywhere() -> None:
    words = [sys.executable, str(ROOT / ".ci" / "release"), "--check"]
    said = subprocess.run(words, capture_output=True, text=True, check=False).stderr
    assert "__init__.py says" not in said
    assert "CHANGELOG.md begins" not in said
