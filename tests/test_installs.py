"""The two edges of an installation: a small board's few libraries, and what is said where one is missing."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
MANUAL = ROOT / "meterlog" / "stream" / "README.md"


@pytest.fixture(scope="module")
def board(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An environment with what the manual's command for a small board installs; its `meterlog`."""
    command = re.search(r"^pip install --no-deps (\. (?:.*\\\n)*.*)$", MANUAL.read_text(), flags=re.MULTILINE)
    assert command is not None
    folder = tmp_path_factory.mktemp("board")
    subprocess.run([sys.executable, "-m", "venv", folder], check=True)
    pip = [folder / "bin" / "pip", "install", "-q", "--no-deps", *command[1].replace("\\\n", " ").split()]
    subprocess.run(pip, check=True, cwd=ROOT)
    return folder / "bin" / "meterlog"


def _run(meterlog: Path, folder: Path, words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run([meterlog, *words.split()], cwd=folder, capture_output=True, text=True, check=False)


def test_a_small_board_records_analyzes_compares_diagnoses_keeps_jobs_and_tables(board: Path, tmp_path: Path) -> None:
    for words in (
        "record --meter sim:healthy-prime?seed=7 --for 4 --out prime.sqlite",
        "analyze prime.sqlite",
        "export prime.sqlite --out prime.csv",
        "import prime.csv --out again.sqlite",
        "compare --good prime.sqlite again.sqlite",
        "report prime.sqlite --out prime.html",
        "diagnose --circuit pump-feed prime.sqlite",
        "job start job --complaint cranks-no-start --circuit pump-feed",
        "job measure job --value 12.4 --at battery_plus --to battery_minus",
        "job report job --out job.html",
        "sessions",
        "jobs",
    ):
        done = _run(board, tmp_path, words)
        assert done.returncode == 0, (words, done.stderr)
        assert "Traceback" not in done.stderr, words


@pytest.mark.parametrize(
    ("words", "library", "wanted"),
    [
        ("export prime.sqlite --out prime.parquet", "pyarrow", "'meterlog[parquet]'"),
        ("collect . --out fleet", "pyarrow", "'meterlog[parquet]'"),
        ("trends .", "pyarrow", "'meterlog[parquet]'"),
        ("collect . --out fleet --scheduler tcp://localhost:8786", "distributed", "'meterlog[cluster]'"),
        ("collect memory://sessions --out fleet", "fsspec", "'meterlog[cluster]'"),
        ("page", "flask", "meterlog"),
        ("completion bash", "shtab", "'meterlog[completion]'"),
        ("follow prime.sqlite --to mqtt://localhost/van", "paho", "'meterlog[mqtt]'"),
    ],
)
def test_what_is_missing_is_said_with_the_command_that_brings_it(
    board: Path, tmp_path: Path, words: str, library: str, wanted: str
) -> None:
    _run(board, tmp_path, "record --meter sim:healthy-prime?seed=7 --for 1 --out prime.sqlite")
    done = _run(board, tmp_path, words)
    assert done.returncode == 2
    assert done.stderr == f"meterlog: this needs {library}, which is not installed: pip install {wanted}\n"


def test_a_driver_whose_library_is_missing_says_so_too(board: Path, tmp_path: Path) -> None:
    done = _run(board, tmp_path, "record --meter scpi:TCPIP::127.0.0.1::9::SOCKET --for 1")
    assert done.returncode == 2
    assert "this needs pyvisa, which is not installed: pip install 'meterlog[visa]'" in done.stderr


def test_a_small_board_needs_at_most_120_megabytes(board: Path) -> None:
    """Measure what the command added: not the environment's own pip and setuptools."""
    (packages,) = board.parents[1].glob("lib/python*/site-packages")
    own = ("pip", "setuptools", "pkg_resources")
    files = [
        file
        for file in packages.rglob("*")
        if file.is_file() and not file.relative_to(packages).parts[0].startswith(own)
    ]
    assert sum(file.stat().st_size for file in files) < 120e6
