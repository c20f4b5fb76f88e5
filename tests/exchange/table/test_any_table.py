"""Random tables by a writer of its own, in every combination of marks and times, come back to the last digit.

What leaves two readings is asked, and the right answer is among those that the sentence offers.

The writer makes all texts of whole numbers, and shares nothing with the reader.
"""

from __future__ import annotations

import random
from datetime import date, timedelta
from itertools import product
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from meterlog.errors import TableError
from meterlog.exchange.table.import_plan import make_plan
from meterlog.exchange.table.import_table import import_table
from meterlog.exchange.table.options import ImportOptions
from meterlog.exchange.table.question import Question
from meterlog.exchange.table.remarks import Remarks
from meterlog.session import open_reader

DELIMITERS = (",", ";", "\t", "|", " ")
MARKS = (".", ",")
ENCODINGS = ("utf-8", "utf-8-sig", "utf-16", "latin-1", "cp1252")
UNITS = {"V": 3, "mV": 0, "µV": -3, "kV": 6}
"""Each unit, and how many decimals a whole number of millivolts has in it."""
KINDS = ("seconds", "ms", "epoch", "epoch ms", "iso", "dmy", "mdy", "clock", "date and clock", "duration")
FIRST = date(2024, 5, 23)


def _decimal(number: int, decimals: int, mark: str) -> str:
    """A whole number with so many of its digits behind the mark; with zeros behind it for less than none."""
    if decimals <= 0:
        return str(number) + "0" * -decimals
    digits = f"{abs(number):0{decimals + 1}d}"
    return ("-" if number < 0 else "") + digits[:-decimals] + mark + digits[-decimals:]


def _clock(ms: int, mark: str) -> str:
    return f"{ms // 3_600_000:02d}:{ms // 60_000 % 60:02d}:{ms // 1000 % 60:02d}{mark}{ms % 1000:03d}"


def _time(kind: str, ms: int, mark: str) -> list[str]:
    """The cells of a moment, `ms` after ten in the morning of the first day."""
    of_day = 36_000_000 + ms
    day = FIRST + timedelta(days=of_day // 86_400_000)
    clock = _clock(of_day % 86_400_000, mark)
    since_1970 = (FIRST - date(1970, 1, 1)).days * 86_400_000 + of_day
    cells = {
        "seconds": [_decimal(ms, 3, mark)],
        "ms": [str(ms)],
        "epoch": [_decimal(since_1970, 3, mark)],
        "epoch ms": [str(since_1970)],
        "iso": [f"{day.isoformat()}T{clock}"],
        "dmy": [f"{day.day:02d}/{day.month:02d}/{day.year} {clock}"],
        "mdy": [f"{day.month:02d}/{day.day:02d}/{day.year} {clock}"],
        "clock": [clock],
        "date and clock": [f"{day.day:02d}.{day.month:02d}.{day.year}", clock],
        "duration": [f"{'-' if ms < 0 else '+'}{_clock(abs(ms), mark)}"],
    }
    return cells[kind]


def _titles(kind: str) -> list[str]:
    return {"ms": ["t [ms]"], "seconds": ["t [s]"], "date and clock": ["Tag", "Uhr"]}.get(kind, ["t"])


COMBINATIONS = list(product(DELIMITERS, MARKS, ENCODINGS, UNITS, KINDS))


@pytest.mark.parametrize("seed", range(8))
def test_every_combination_comes_back_exactly(tmp_path: Path, seed: int) -> None:
    rng = random.Random(seed)
    for combination in rng.sample(COMBINATIONS, 15):
        _comes_back(tmp_path, rng, *combination)


@pytest.mark.slow
def test_many_combinations(tmp_path: Path) -> None:
    rng = random.Random(99)
    for combination in rng.sample(COMBINATIONS, 300):
        _comes_back(tmp_path, rng, *combination)


def _comes_back(
    folder: Path, rng: random.Random, delimiter: str, mark: str, encoding: str, unit: str, kind: str
) -> None:
    """Write a table and read it, with the right answer to what is asked."""
    rows = rng.randrange(5, 40)
    steps = [rng.randrange(1, 5000) for _ in range(rows)]
    ms = [sum(steps[:i]) - (3000 if kind in ("seconds", "duration") else 0) for i in range(rows)]
    millivolts = [rng.randrange(-20_000, 20_000) for _ in range(rows)]
    quoted = '"' if mark == delimiter else ""
    lines = [delimiter.join([*(title.replace(" ", "") for title in _titles(kind)), f"Größe[{unit}]"])]
    for at, mv in zip(ms, millivolts, strict=True):
        cells = [*_time(kind, at, mark), _decimal(mv, UNITS[unit], mark)]
        if delimiter == " ":
            cells = [cell.replace(" ", "_") for cell in cells]
        lines.append(delimiter.join(f"{quoted}{cell}{quoted}" for cell in cells))
    path, out = folder / "log.csv", folder / "out.sqlite"
    out.unlink(missing_ok=True)
    path.write_bytes("\n".join([*lines, ""]).encode(encoding))
    names = tuple(title.partition(" ")[0] for title in _titles(kind))
    words: dict[str, Any] = {"time": names, "value": ("Größe",), "quantity": ("dc_voltage",)}
    try:
        plan = make_plan(path, ImportOptions(**words))
    except Question as question:
        plan = make_plan(path, ImportOptions(**words, **_right_answer(question, mark, kind, delimiter)))
    except TableError as error:
        pytest.fail(f"{error} of {lines[:3]}")
    import_table(plan, out, Remarks(), {})
    with open_reader(out) as reader:
        series = reader.series(1)
        assert series.value.tolist() == [mv / 1000 for mv in millivolts], lines[:3]
        zero = 0 if kind in ("seconds", "ms", "duration") else ms[0]
        assert np.allclose(series.time_s, [(at - zero) / 1000 for at in ms], rtol=0, atol=1.1e-6), lines[:3]


def _right_answer(question: Question, mark: str, kind: str, delimiter: str) -> dict[str, Any]:
    """Return what a person who knows the file would answer, which must be among what was offered."""
    patterns = {"dmy": "%d/%m/%Y_%H:%M:%S", "mdy": "%m/%d/%Y_%H:%M:%S"}
    answers: dict[str, Any] = {"decimal": mark, "date_order": kind, "time_format": f"{patterns.get(kind)}{mark}%f"}
    answer = answers[question.option]
    assert answer in question.answers, (str(question), delimiter)
    assert str(answer) in str(question)
    return {question.option: answer}
