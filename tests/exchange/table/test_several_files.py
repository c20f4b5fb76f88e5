"""Several files become one session: recorded at the same time by clocks of their own, or one after another."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from meterlog.cli.main import main
from meterlog.session import open_reader

WORDS = ("--time", "time", "--quantity", "dc_voltage", "--unit", "V", "--zone", "+00:00")


def _dated(path: Path, first_ms: int, step_ms: int, rows: int, title: str = "feed") -> Path:
    """A log of its own clock and rate; its values count up from 1."""
    lines = []
    for i in range(rows):
        ms = first_ms + i * step_ms
        lines.append(f"2024-05-01T12:{ms // 60_000:02}:{ms // 1000 % 60:02}.{ms % 1000:03},{i + 1}.0\n")
    path.write_text(f"time,{title}\n" + "".join(lines))
    return path


def test_files_of_the_same_time_keep_their_own_clocks_and_rates(tmp_path: Path) -> None:
    a = _dated(tmp_path / "a.csv", 1003, 100, 500, "feed")
    b = _dated(tmp_path / "b.csv", 996, 330, 150, "ground")
    out = tmp_path / "both.sqlite"
    words = ("--value", "feed", "--value", "ground", "--join", "time", "--out", str(out))
    assert main(["import", str(a), str(b), *WORDS, *words]) == 0
    with open_reader(out) as reader:
        assert reader.started_at.isoformat() == "2024-05-01T12:00:00.996000+00:00"
        assert [channel.label for channel in reader.channels] == ["feed", "ground"]
        assert np.allclose(reader.series(1).time_s, 0.007 + np.arange(500) * 0.1, atol=1.1e-6)
        assert np.allclose(reader.series(2).time_s, np.arange(150) * 0.33, atol=1.1e-6)


def test_columns_of_one_name_are_told_apart_by_their_files(tmp_path: Path) -> None:
    files = [_dated(tmp_path / f"{name}.csv", 0, 100, 20) for name in ("front", "rear")]
    out = tmp_path / "both.sqlite"
    words = ("--value", "feed", "--join", "time", "--out", str(out))
    assert main(["import", *map(str, files), *WORDS, *words]) == 0
    with open_reader(out) as reader:
        assert [channel.label for channel in reader.channels] == ["front feed", "rear feed"]


def test_files_one_after_another_go_on_with_a_gap(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    files = []
    for k in range(3):
        files.append(tmp_path / f"part{k}.csv")
        files[-1].write_text("time,feed\n" + "".join(f"{i / 10:.1f},{k + 1}.5\n" for i in range(50)))
    out = tmp_path / "all.sqlite"
    words = ("--value", "feed", "--join", "end", "--out", str(out))
    assert main(["import", *map(str, files), *WORDS, *words]) == 0
    assert "150 of 150 rows kept" in capsys.readouterr().err
    with open_reader(out) as reader:
        series = reader.series(1)
        assert series.value.tolist() == [1.5] * 50 + [2.5] * 50 + [3.5] * 50
        steps = np.diff(series.time_s)
        assert np.flatnonzero(steps > 1).tolist() == [49, 99]
        assert [m.name for m in reader.markers] == ["clock restarted"] * 2


def test_dated_files_one_after_another_need_no_gap(tmp_path: Path) -> None:
    files = [_dated(tmp_path / f"{k}.csv", 5000 * k, 100, 50) for k in range(3)]
    out = tmp_path / "all.sqlite"
    assert main(["import", *map(str, files), *WORDS, "--value", "feed", "--join", "end", "--out", str(out)]) == 0
    with open_reader(out) as reader:
        assert np.allclose(reader.series(1).time_s, np.arange(150) * 0.1, atol=1.1e-6)
        assert not reader.markers


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (("--value", "feed"), "--join time (recorded at the same time) or --join end (one after another)"),
        (("--value", "feed", "--join", "time", "--restarts", "parts"), "does not go with --restarts parts"),
        (("--value", "feed", "--value", "pump", "--join", "time"), "no column of 'a.csv' or 'b.csv' is called 'pump'"),
        (("--value", "feed", "--join", "time"), "those of 'b.csv' have none"),
        ((), "--value COL is missing"),
    ],
)
def test_what_does_not_go_together_is_one_sentence(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], words: tuple[str, ...], sentence: str
) -> None:
    a = _dated(tmp_path / "a.csv", 0, 100, 10)
    b = tmp_path / "b.csv"
    b.write_text("time,feed\n0.0,1.5\n0.1,1.6\n")
    assert main(["import", str(a), str(b), *WORDS, *words, "--out", str(tmp_path / "o.sqlite")]) == 2
    assert sentence in capsys.readouterr().err
    assert not list(tmp_path.glob("*.sqlite"))
