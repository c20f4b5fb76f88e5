"""No output ends a recording: neither an encoding that lacks a character nor a reader or a disk that is gone."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from meterlog.cli.terminal.output_streams import lasting_output, plain_output
from meterlog.session import open_reader

RECORD = (
    sys.executable,
    "-m",
    "meterlog",
    "record",
    "--meter",
    "sim:healthy-prime?speed=20&label=Pumpe+%CE%A9+%E7%87%83%E6%96%99",
)


def record(folder: Path, *words: str, **options: object) -> subprocess.CompletedProcess[bytes]:
    settings = {"stdin": subprocess.DEVNULL, "stdout": subprocess.PIPE, "stderr": subprocess.PIPE, **options}
    return subprocess.run([*RECORD, *words], cwd=folder, timeout=60, check=False, **settings)  # type: ignore[call-overload, no-any-return]


def kept(folder: Path) -> str:
    """The label of the one session there, which has ended well."""
    (path,) = folder.glob("*.sqlite")
    with open_reader(path) as reader:
        assert reader.ended == "clean"
        assert reader.count(1) > 20
        return reader.channels[0].label


@pytest.mark.parametrize(
    "environment",
    [{"PYTHONIOENCODING": "cp1252"}, {"PYTHONIOENCODING": "ascii:strict"}, {"LC_ALL": "C", "PYTHONUTF8": "0"}],
    ids=["cp1252", "ascii", "C"],
)
def test_a_label_that_the_output_cannot_encode_is_shown_escaped(tmp_path: Path, environment: dict[str, str]) -> None:
    done = record(tmp_path, env={**os.environ, "PYTHONCOERCECLOCALE": "0", **environment})
    assert (done.returncode, done.stderr) == (0, b"")
    assert b"Pumpe \\u03a9 \\u71c3\\u6599: " in done.stdout
    assert kept(tmp_path) == "Pumpe Ω 燃料"


def test_full_disks_under_both_outputs_change_nothing(tmp_path: Path) -> None:
    if not Path("/dev/full").exists():
        pytest.skip("the system has no /dev/full")
    with open("/dev/full", "wb") as full:
        assert record(tmp_path, stdout=full, stderr=full).returncode == 0
    assert kept(tmp_path) == "Pumpe Ω 燃料"


def test_what_cannot_be_written_is_dropped_for_good(monkeypatch: pytest.MonkeyPatch) -> None:
    readable, writable = os.pipe()
    os.close(readable)
    with os.fdopen(writable, "w") as nobody_reads:
        monkeypatch.setattr(sys, "stdout", nobody_reads)
        with plain_output(), lasting_output():
            for _ in range(3):
                print("a" * 100_000, flush=True)
            drawn_on = getattr(sys.stdout, "raw")  # noqa: B009  # as the live view does
            print("b" * 100_000, file=drawn_on, flush=True)
        assert sys.stdout is nobody_reads


def test_recordings_that_nobody_named_and_that_begin_in_one_second_are_all_kept(tmp_path: Path) -> None:
    command = [*RECORD, "--quiet"]
    started = [subprocess.Popen(command, cwd=tmp_path, stdout=subprocess.DEVNULL) for _ in range(4)]
    assert [process.wait(60) for process in started] == [0] * 4
    assert len(list(tmp_path.glob("*.sqlite"))) == 4
