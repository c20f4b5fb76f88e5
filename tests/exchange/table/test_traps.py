"""Files with a trap come out right by the suggested command, or by it and the answer to what it asked: never otherwise.

The truth stands beside each file in `traps/`, made of whole numbers from a seed.
"""

from __future__ import annotations

import re
import shlex
from collections.abc import Sequence
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from meterlog.cli.main import main
from meterlog.session import open_reader
from tests.exchange.table.traps import dresses, instruments, marks, packed, strangers, times
from tests.exchange.table.traps.trap import Trap

TRAPS = [*marks.traps(), *times.traps(), *dresses.traps(), *packed.traps(), *strangers.traps(), *instruments.traps()]


def test_there_are_at_least_forty() -> None:
    assert len({trap.name for trap in TRAPS}) == len(TRAPS) >= 40


def _wrong(folder: Path, trap: Trap) -> str:
    """Return in what the sessions that were made differ from the truth; nothing where they do not."""
    made = sorted(folder.glob("*.sqlite"))
    if len(made) != trap.sessions:
        return f"{len(made)} sessions"
    with open_reader(made[0]) as reader:
        if [(c.label, str(c.quantity)) for c in reader.channels] != [(c.label, c.quantity) for c in trap.channels]:
            return f"channels {[(c.label, str(c.quantity)) for c in reader.channels]}"
        for channel, wanted in zip(reader.channels, trap.channels, strict=True):
            series = reader.series(channel.number)
            if len(series) != len(wanted.value):
                return f"{len(series)} readings of '{wanted.label}', not {len(wanted.value)}"
            if not np.array_equal(series.value, wanted.value):
                return f"values of '{wanted.label}': {series.value[:5]}"
            if not np.allclose(series.time_s, wanted.time_s, rtol=0, atol=trap.tolerance_s):
                return f"times of '{wanted.label}': {series.time_s[:5]}"
        markers = [(round(m.time_s, 6), m.name) for m in reader.markers]
        return "" if markers == list(trap.markers) else f"markers {markers}"


SAME_QUESTION = {"--rate": "--interval", "--overload": "--blank", "--number": "--blank"}
"""Options that answer what another one was guessed for."""


def _answered(command: list[str], answer: Sequence[str]) -> list[str]:
    """The command with an answer in place of what it guessed."""
    if not answer:
        return command
    option = answer[0].partition("=")[0]
    guessed = {option, SAME_QUESTION.get(option, option), *(("--time-unit",) if option == "--interval" else ())}
    kept = [
        word
        for before, word in pairwise(["", *command])
        if before not in guessed and word.partition("=")[0] not in guessed
    ]
    return [*kept, *answer]


def _import(command: list[str], folder: Path) -> int:
    for path in folder.glob("*.sqlite"):
        path.unlink()
    return main(command[1:])


@pytest.mark.parametrize("trap", TRAPS, ids=lambda trap: trap.name)
def test_a_trap_comes_out_right_or_is_asked_about(
    trap: Trap, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / f"log{trap.suffix}"
    path.write_bytes(trap.data)
    assert main(["import", str(path)]) == 0
    shown = capsys.readouterr().out
    command = shlex.split(shown.splitlines()[-1])
    assert re.search(trap.asked, shown.replace("\n", " ")) if trap.asked else "Nothing is in doubt" in shown, shown
    assert _import(_answered(command, trap.answer), tmp_path) == 0
    assert not _wrong(tmp_path, trap), shown
    assert re.search(r"note: \d+ of \d+ rows kept", capsys.readouterr().err)


@pytest.mark.parametrize("trap", [trap for trap in TRAPS if trap.asked], ids=lambda trap: trap.name)
def test_what_is_asked_about_is_never_taken_by_yes(
    trap: Trap, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / f"log{trap.suffix}"
    path.write_bytes(trap.data)
    assert main(["import", str(path), "--yes"]) == 2
    said = capsys.readouterr().err
    assert said.startswith("meterlog: --yes takes only what is in no doubt, but")
    assert said.count("\n") == 1
    assert [file.name for file in tmp_path.iterdir()] == [path.name]


@pytest.mark.parametrize(
    ("name", "data", "pattern"), [*strangers.refused(), *instruments.refused()], ids=lambda one: str(one)[:40]
)
def test_what_is_no_table_of_readings_is_refused_with_what_to_do(
    name: str, data: bytes, pattern: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "log.csv"
    path.write_bytes(data)
    assert main(["import", str(path)]) == 2, name
    said = capsys.readouterr().err
    assert re.search(pattern, said)
    assert said.count("\n") == 1
    assert [*tmp_path.iterdir()] == [path]


def test_a_mark_that_the_sentence_asks_for_is_taken(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "log.csv"
    path.write_bytes(next(data for name, data, _ in strangers.refused() if "mark" in name))
    assert main(["import", str(path), "--delimiter", "~", "--yes"]) == 0
    assert "24 of 24 rows kept" in capsys.readouterr().err


def test_points_and_commas_in_one_column_are_asked_about(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "log.csv"
    rows = [f"{i / 10:.1f};12.3{i:02}\n" for i in range(12)] + [f"{i / 10:.1f};12,3{i:02}\n" for i in range(12, 24)]
    path.write_text("time_s;U [V]\n" + "".join(rows))
    assert main(["import", str(path), "--yes"]) == 2
    said = capsys.readouterr().err
    assert "'U [V]' has a point in some cells ('12.300') and a comma in others ('12,312')" in said
    grouped = path.with_name("grouped.csv")
    grouped.write_text("time_s;I [mA]\n0.0;999.5\n0.1;1,000.5\n0.2;1,001\n")
    assert main(["import", str(grouped), "--yes"]) == 0
    with open_reader(grouped.with_suffix(".sqlite")) as reader:
        assert reader.series(1).value.tolist() == [0.9995, 1.0005, 1.001]
