"""Damaged session files through every command that reads sessions: one line and exit 2, or an honest result."""

from __future__ import annotations

import random
import shutil
import sqlite3
from collections.abc import Callable
from pathlib import Path

import pytest

from meterlog.cli.main import main
from tests.faults.conftest import make_session

Damage = Callable[[Path], object]


def sql(statement: str) -> Damage:
    """Return what someone with a database tool, or a defect, does to a session."""

    def damage(path: Path) -> None:
        connection = sqlite3.connect(path, isolation_level=None)
        connection.execute(statement)
        connection.close()

    return damage


def noise(share: float, size: int) -> Damage:
    """Bytes from elsewhere, as a failing card or stick leaves them."""

    def damage(path: Path) -> None:
        content = bytearray(path.read_bytes())
        at = int(share * len(content))
        content[at : at + size] = random.Random(size).randbytes(size)
        path.write_bytes(content)

    return damage


def cut(share: float) -> Damage:
    """A copy that ended early."""
    return lambda path: path.write_bytes(path.read_bytes()[: int(share * path.stat().st_size)])


REFUSED: dict[str, Damage] = {
    "empty": lambda path: path.write_bytes(b""),
    "a table": lambda path: path.write_bytes(b"time_s,value\n0,1\n"),
    "cut in the header": cut(0.001),
    "cut in half": cut(0.5),
    "cut near the end": cut(0.9),
    "noise in the first page": noise(0.002, 3000),
    "noise in the middle": noise(0.5, 6000),
    "of a later version": sql("PRAGMA user_version = 99"),
    "of version 0": sql("PRAGMA user_version = 0"),
    "no recording": sql("DELETE FROM recording"),
    "no table of channels": sql("DROP TABLE channel"),
    "a start that is no moment": sql("UPDATE recording SET started_at = 'yesterday'"),
    "a start without its offset": sql("UPDATE recording SET started_at = '2026-03-01T08:00:00'"),
    "an unknown quantity": sql("UPDATE channel SET quantity = 'loudness'"),
    "a label that is no text": sql("UPDATE channel SET label = x'ff00'"),
    "an accuracy that is no number": sql("UPDATE channel SET accuracy_share = 'much'"),
    "a negative interval": sql("UPDATE channel SET interval_s = -1"),
    "no table of chunks": sql("DROP TABLE chunk"),
    "a chunk's wrong count": sql("UPDATE chunk SET count = count - 1"),
    "a chunk's count beyond memory": sql("UPDATE chunk SET count = 2000000000"),
    "a chunk's torn column": sql("UPDATE chunk SET numbers = substr(numbers, 1, length(numbers) / 2)"),
    "a chunk's column that is a text": sql("UPDATE chunk SET times = 'soon'"),
    "a chunk's start that is a text": sql("UPDATE chunk SET start_us = 'soon'"),
    "a marker that is no text": sql("UPDATE marker SET name = x'ff'"),
    "a marker in another age": sql("UPDATE marker SET time_us = 9223372036854775807"),
    "a detail that is no text": sql("UPDATE detail SET value = x'ff'"),
    "a detail that is no UTF-8": sql("UPDATE detail SET value = CAST(x'edb080' AS TEXT)"),
}
"""Damage that analyze, export, report and compare must refuse."""

SUFFERED: dict[str, Damage] = {
    "readings of a channel that is not there": sql("UPDATE chunk SET channel = 7"),
    "a stranger's ending": sql("UPDATE recording SET ended = 'perhaps'"),
    "a reading that is a text": sql("INSERT INTO reading VALUES (1, 1500, 900000000, 'high', 0.01, 0, 0, 1)"),
    "flags beyond their bits": sql("INSERT INTO reading VALUES (1, 1500, 900000000, 1.0, 0.01, 70000, 0, 1)"),
    "a reading without a value": sql("INSERT INTO reading VALUES (1, 1500, 900000000, NULL, NULL, 0, 0, 1)"),
    "a time that goes back": sql("INSERT INTO reading VALUES (1, 1500, -5000000, 1.0, 0.1, 0, 0, 1)"),
    "wrong statistics": sql("UPDATE chunk SET minimum = 'low', maximum = 'high', overloads = 'x'"),
    "control characters": sql("UPDATE channel SET label = 'a' || char(0) || char(10)"),
}
"""Damage that changes no reading, or what the result itself shows: no traceback is all that is asked."""


@pytest.fixture(scope="module")
def small(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A session of 1500 readings."""
    return make_session(tmp_path_factory.mktemp("small") / "good.sqlite", 1500)


def commands(path: Path, good: Path) -> dict[str, list[str]]:
    """Every command that reads sessions, over one of them."""
    session, folder = str(path), path.parent
    return {
        "analyze": ["analyze", session, "--json"],
        "analyze as text": ["analyze", session],
        "export": ["export", session, "--out", str(folder / "o.csv")],
        "export to Parquet": ["export", session, "--out", str(folder / "o.parquet")],
        "report": ["report", session, "--out", str(folder / "o.html")],
        "compare": ["compare", "--good", str(good), session],
        "compare with it": ["compare", "--good", session, str(good), "--json"],
        "sessions": ["sessions", str(folder)],
        "sessions as JSON": ["sessions", str(folder), "--json"],
        "mark": ["mark", session, "x", "--at", "5"],
        "diagnose": ["diagnose", "--circuit", "pump-feed", session, "--json"],
        "replay": ["record", "--plain", "--meter", f"replay:{session}?speed=1e6", "--out", str(folder / "r.sqlite")],
    }


def outcomes(name: str, damage: Damage, good: Path, folder: Path, capsys: pytest.CaptureFixture[str]) -> set[str]:
    """Run every command over a fresh damaged copy; those that refused it."""
    refused = set()
    path = folder / "damaged.sqlite"
    for command, words in commands(path, good).items():
        shutil.copy(good, path)
        damage(path)
        capsys.readouterr()
        status = main(words)
        said = capsys.readouterr().err
        assert status in (0, 2), (name, command)
        if status == 2:
            refused.add(command)
            assert said.startswith("meterlog: "), (name, command)
            if command != "diagnose":  # it says what it leaves out, a line each
                assert said.count("\n") == 1, (name, command, said)
    for file in ("o.csv", "o.parquet", "o.html", "r.sqlite"):
        if refused >= {"export", "export to Parquet", "report", "replay"}:
            assert not (folder / file).exists()
    return refused


@pytest.mark.parametrize("name", REFUSED)
def test_a_damaged_session_is_refused_in_one_line(
    name: str, small: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    refused = outcomes(name, REFUSED[name], small, tmp_path, capsys)
    assert refused >= {"analyze", "analyze as text", "report", "compare", "compare with it"}
    assert refused.isdisjoint({"sessions", "sessions as JSON"})


@pytest.mark.parametrize("name", SUFFERED)
def test_odd_sessions_make_no_traceback(
    name: str, small: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert "sessions" not in outcomes(name, SUFFERED[name], small, tmp_path, capsys)
