"""Clocks that begin again, stand still, stray or tick in whole seconds: nothing of them is lost in silence."""

from __future__ import annotations

import random
from datetime import date, timedelta, timezone
from itertools import pairwise
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from meterlog.errors import TableError
from meterlog.exchange.table.import_plan import make_plan
from meterlog.exchange.table.import_table import Imported, import_table
from meterlog.exchange.table.options import ImportOptions
from meterlog.exchange.table.question import Question
from meterlog.exchange.table.remarks import Remarks
from meterlog.session import open_reader


def _imported(folder: Path, text: str, **words: Any) -> tuple[Imported, Remarks]:
    path = folder / "log.csv"
    path.write_text(text)
    remarks = Remarks()
    usual: dict[str, Any] = {"time": ("time_s",), "value": ("v",), "quantity": ("dc_voltage",), "unit": ("V",)}
    plan = make_plan(path, ImportOptions(**usual | words))
    return import_table(plan, folder / "out.sqlite", remarks, {}), remarks


def _restarting(*lengths: int) -> str:
    rows = [f"{i * 0.5:.1f},{12 + part}.{i % 10}" for part, length in enumerate(lengths) for i in range(length)]
    return "time_s,v\n" + "\n".join(rows) + "\n"


def test_a_clock_that_begins_again_stops_the_import_and_says_where(tmp_path: Path) -> None:
    with pytest.raises(Question) as caught:
        _imported(tmp_path, _restarting(100, 2000, 7))
    for words in ("in line 102 from 49.5 s to 0 s", "in line 2102", "3 parts", "--restarts parts", "--restarts offset"):
        assert words in str(caught.value)
    assert [file.name for file in tmp_path.iterdir()] == ["log.csv"]


@pytest.mark.parametrize("lengths", [(100, 2000, 7), (30_000, 20_480, 40_000), (4, 3), (20_478, 3)])
def test_its_parts_become_sessions_that_lack_nothing(tmp_path: Path, lengths: tuple[int, ...]) -> None:
    imported, _ = _imported(tmp_path, _restarting(*lengths), restarts="parts")
    assert [made.path.name for made in imported.sessions] == [f"out-{k}.sqlite" for k in range(1, len(lengths) + 1)]
    assert (imported.kept, imported.rows) == (sum(lengths), sum(lengths))
    for part, (made, length) in enumerate(zip(imported.sessions, lengths, strict=True)):
        with open_reader(made.path) as reader:
            series = reader.series(1)
            assert np.array_equal(series.time_s, np.arange(length) * 0.5)
            assert series.value.tolist() == [float(f"{12 + part}.{i % 10}") for i in range(length)]


def test_or_one_session_with_a_gap_that_is_marked(tmp_path: Path) -> None:
    imported, _ = _imported(tmp_path, _restarting(100, 200), restarts="offset")
    assert imported.kept == 300
    with open_reader(imported.sessions[0].path) as reader:
        series = reader.series(1)
        assert len(series) == 300
        assert series.time_s[100] - series.time_s[99] == 5.0
        assert np.allclose(np.diff(np.delete(series.time_s, np.s_[:100])), 0.5)
        assert [(m.time_s, m.name) for m in reader.markers] == [(series.time_s[100], "clock restarted")]


def test_a_column_that_is_no_clock_is_refused(tmp_path: Path) -> None:
    rng = random.Random(1)
    text = "time_s,v\n" + "".join(f"{rng.uniform(11, 15):.2f},12.5\n" for _ in range(5000))
    for restarts in ("stop", "parts", "offset"):
        with pytest.raises(TableError, match="give another column with --time"):
            _imported(tmp_path, text, restarts=restarts)
    assert [file.name for file in tmp_path.iterdir()] == ["log.csv"]


def test_two_clocks_line_by_line_are_refused_with_the_share(tmp_path: Path) -> None:
    text = "time_s,v\n" + "".join(f"{100 + i}.0,1\n{i}.0,2\n" for i in range(50))
    with pytest.raises(TableError, match="only 50 of 100 rows stand in the order of 'time_s'"):
        _imported(tmp_path, text)


def test_channels_one_after_another_each_have_their_own_clock(tmp_path: Path) -> None:
    rows = [f"{i * 0.5:.1f},{name},{k}.{i % 10}" for k, name in enumerate(("feed", "ground")) for i in range(3000)]
    text = "time_s,what,v\n" + "\n".join(rows) + "\n"
    imported, _ = _imported(tmp_path, text, channel="what")
    assert imported.kept == 6000
    with open_reader(imported.sessions[0].path) as reader:
        for number in (1, 2):
            assert np.array_equal(reader.series(number).time_s, np.arange(3000) * 0.5)


def _channels_restarting(*lengths: int) -> str:
    rows = [f"{i * 0.5:.1f},{name},{i % 10}.5" for n in lengths for i in range(n) for name in ("feed", "ground")]
    return "time_s,what,v\n" + "\n".join(rows) + "\n"


def test_channels_line_by_line_begin_again_together(tmp_path: Path) -> None:
    text = _channels_restarting(40, 2000, 7)
    with pytest.raises(Question, match="becomes of the 3 parts"):
        _imported(tmp_path, text, channel="what")
    imported, _ = _imported(tmp_path, text, channel="what", restarts="parts")
    assert [sorted(made.readings.items()) for made in imported.sessions] == [
        [("feed", n), ("ground", n)] for n in (40, 2000, 7)
    ]


def test_or_go_on_together_with_one_gap(tmp_path: Path) -> None:
    imported, _ = _imported(tmp_path, _channels_restarting(40, 60), channel="what", restarts="offset")
    with open_reader(imported.sessions[0].path) as reader:
        feed, ground = reader.series(1), reader.series(2)
        assert feed.time_s.tolist() == ground.time_s.tolist()
        assert len(feed) == 100
        assert [marker.name for marker in reader.markers] == ["clock restarted"]


def test_two_rows_at_the_end_are_a_restart_and_one_is_a_stray(tmp_path: Path) -> None:
    with pytest.raises(Question, match=r"goes back in line 52 from 24\.5 s to 0 s"):
        _imported(tmp_path, _restarting(50, 2))
    imported, remarks = _imported(tmp_path, _restarting(50, 1))
    assert imported.kept == 50
    assert "rows whose time is before an earlier row's, skipped: 1 (line 52)" in list(remarks.sentences())


def test_whole_seconds_with_several_rows_each_are_spread_with_their_uncertainty(tmp_path: Path) -> None:
    stamps = [f"2024-05-01 12:{i // 600:02}:{i // 10 % 60:02}" for i in range(30_000)]
    text = "time_s,v\n" + "".join(f"{stamp},12.{i % 10}\n" for i, stamp in enumerate(stamps))
    imported, _ = _imported(tmp_path, text)
    with open_reader(imported.sessions[0].path) as reader:
        series = reader.series(1)
        truth = np.arange(30_000) * 0.1
        assert np.allclose(series.time_s, truth, atol=1e-6)
        assert set(series.time_error_s.tolist()) == {np.float32(0.6)}


@pytest.mark.parametrize(
    ("cells", "error_s"),
    [
        (("0.0", "0.3", "0.6", "0.9"), 0.05),
        (("0.001", "0.301", "0.601"), 0.0005),
        (("12:00:00", "12:00:07", "12:00:19"), 0.5),
        (("2024-05-01 12:00", "2024-05-01 12:01", "2024-05-01 12:02"), 30.0),
    ],
)
def test_the_step_of_the_stamps_is_part_of_each_times_error(
    tmp_path: Path, cells: tuple[str, ...], error_s: float
) -> None:
    imported, _ = _imported(tmp_path, "time_s,v\n" + "".join(f"{cell},1\n" for cell in cells))
    with open_reader(imported.sessions[0].path) as reader:
        assert reader.series(1).time_error_s.tolist() == [np.float32(error_s)] * len(cells)


def test_milliseconds_of_the_day_begin_the_session_at_the_first_row(tmp_path: Path) -> None:
    text = "ms_today,v\n" + "".join(f"{36_000_000 + i * 500},12.5\n" for i in range(900))
    imported, _ = _imported(tmp_path, text, time=("ms_today",))
    with open_reader(imported.sessions[0].path) as reader:
        assert reader.duration_s == 449.5
        assert (reader.started_at.hour, reader.started_at.minute) == (10, 0)


def test_pre_trigger_times_stay_negative(tmp_path: Path) -> None:
    imported, _ = _imported(tmp_path, "time_s,v\n" + "".join(f"{i / 10:.1f},1\n" for i in range(-20, 30)))
    with open_reader(imported.sessions[0].path) as reader:
        assert reader.series(1).time_s.tolist() == [i / 10 for i in range(-20, 30)]


def test_without_a_time_column_rows_are_one_interval_apart(tmp_path: Path) -> None:
    text = "v\n" + "12.5\n" * 100 + "v\n\n" + "12.6\n" * 100
    imported, remarks = _imported(tmp_path, text, time=(), interval=0.49)
    assert imported.kept == 200
    with open_reader(imported.sessions[0].path) as reader:
        times = reader.series(1).time_s.tolist()
        assert all(abs(b - a - 0.49) < 2e-6 for a, b in pairwise(times))
    assert "repeated header lines, skipped: 1 (line 102)" in list(remarks.sentences())


def test_a_count_of_rows_is_a_time_with_the_interval(tmp_path: Path) -> None:
    text = "sample,v\n0,1\n1,2\n2,3\n5,4\n"
    with pytest.raises(Question, match="--interval S"):
        _imported(tmp_path, text, time=("sample",))
    imported, _ = _imported(tmp_path, text, time=("sample",), interval=0.1)
    with open_reader(imported.sessions[0].path) as reader:
        assert reader.series(1).time_s.tolist() == [0.0, 0.1, 0.2, 0.5]


def test_text_between_the_readings_is_kept_as_markers(tmp_path: Path) -> None:
    text = "time_s,v\n0.0,12.6\n# key on\n0.5,12.5\n0.7,CRANK\n1.0,9.8\nEnd of test\n"
    imported, remarks = _imported(tmp_path, text)
    with open_reader(imported.sessions[0].path) as reader:
        assert [(m.time_s, m.name) for m in reader.markers] == [(0.0, "key on"), (0.7, "CRANK")]
    assert "lines of text after the last row, left out: 1 (line 7)" in list(remarks.sentences())


def test_a_state_column_marks_its_changes_with_its_words(tmp_path: Path) -> None:
    text = "time_s,v,ignition\n0.0,1,off\n0.5,2,off\n1.0,3,on\n1.5,4,on\n2.0,5,off\n"
    imported, _ = _imported(tmp_path, text, state=("ignition",))
    with open_reader(imported.sessions[0].path) as reader:
        assert [(m.time_s, m.name) for m in reader.markers] == [(1.0, "ignition: on"), (2.0, "ignition: off")]


@pytest.mark.parametrize("cell", ["-1.0e+38", "30000.0", "-999.0"])
def test_a_number_that_stands_for_none_is_asked_about(tmp_path: Path, cell: str) -> None:
    text = "time_s,v\n" + "".join(f"{i / 10:.1f},{cell if i % 10 == 3 else '12.5'}\n" for i in range(100))
    with pytest.raises(Question, match=rf"--blank={cell.replace('+', '.')}.*--overload.*--number"):
        _imported(tmp_path, text)
    for words, count, overloads in (
        ({"blank": (cell,)}, 90, 0),
        ({"overload": (cell,)}, 100, 10),
        ({"number": (cell,)}, 100, 0),
    ):
        imported, _ = _imported(tmp_path, text, **words)
        path = imported.sessions[0].path
        with open_reader(path) as reader:
            assert len(reader.series(1)) == count
            assert np.isinf(reader.series(1).value).sum() == overloads
        path.unlink()


def _on_27_october(*clock_times: str) -> str:
    """The night of 2024 in which Berlin's clocks went back from 3 to 2, one volt more for each row."""
    return "time_s,v\n" + "".join(f"2024-10-27 {clock},{12 + i}\n" for i, clock in enumerate(clock_times))


@pytest.mark.parametrize(
    ("clock_times", "sentence"),
    [
        (("02:10:00", "02:20:00", "03:00:00"), "02:10:00 came twice in Europe/Berlin, and no row close before it"),
        (("01:10:00", "02:20:00", "03:00:00"), "give the offset with --zone \\+02:00 or --zone \\+01:00"),
        (("01:50:00", "02:00:00", "02:55:00", "03:00:00"), "were put back in Europe/Berlin, and the times were not"),
    ],
)
def test_an_hour_that_comes_twice_is_never_guessed(tmp_path: Path, clock_times: tuple[str, ...], sentence: str) -> None:
    with pytest.raises(TableError, match=sentence):
        _imported(tmp_path, _on_27_october(*clock_times), zone=ZoneInfo("Europe/Berlin"))


def test_a_time_that_was_none_in_the_zone_is_refused(tmp_path: Path) -> None:
    text = "time_s,v\n2024-03-31 01:59:00,12\n2024-03-31 02:00:00,13\n2024-03-31 02:01:00,14\n"
    with pytest.raises(TableError, match=r"02:00:00 was no time in Europe/Berlin.* --zone \+01:00"):
        _imported(tmp_path, text, zone=ZoneInfo("Europe/Berlin"))


def test_a_pause_of_an_hour_by_day_is_a_pause(tmp_path: Path) -> None:
    rows = [f"2024-03-31 {hour}:{minute:02}:00,12.5\n" for hour in (11, 13) for minute in range(60)]
    imported, _ = _imported(tmp_path, "time_s,v\n" + "".join(rows))
    assert imported.kept == 120


def test_a_zone_gives_the_session_its_moment(tmp_path: Path) -> None:
    _imported(tmp_path, "time_s,v\n2024-07-01 12:00:00,12\n2024-07-01 12:00:01,13\n", zone=ZoneInfo("Asia/Kolkata"))
    with open_reader(tmp_path / "out.sqlite") as reader:
        assert reader.started_at.isoformat() == "2024-07-01T12:00:00+05:30"


@pytest.mark.parametrize(("column", "unit", "step"), [("millis", "ms", 500), ("micros", "us", 500)])
def test_a_counter_of_32_bits_that_wraps_is_counted_on(tmp_path: Path, column: str, unit: str, step: int) -> None:
    counts = [(2**32 - 50_000 + i * step) % 2**32 for i in range(200)]
    text = f"{column},v\n" + "".join(f"{count},12.5\n" for count in counts)
    imported, remarks = _imported(tmp_path, text, time=(column,), time_unit=unit)
    assert imported.kept == 200
    with open_reader(imported.sessions[0].path) as reader:
        assert np.allclose(np.diff(reader.series(1).time_s), step * (1e-3 if unit == "ms" else 1e-6))
    assert "times at which the counter passed 2^32, counted on: 1 (line 102)" in list(remarks.sentences())


@pytest.mark.parametrize("before", [2**32 - 50_000_000, 2**31, 90_000])
def test_a_counter_that_falls_by_less_began_again(tmp_path: Path, before: int) -> None:
    counts = [before + i * 500 for i in range(50)] + [i * 500 for i in range(50)]
    with pytest.raises(Question, match="--restarts parts"):
        _imported(tmp_path, "millis,v\n" + "".join(f"{count},1\n" for count in counts), time=("millis",))


FORWARD = [f"{1 if i < 60 else 3:02}:{i % 60:02}:00" for i in range(120)]
"""Times of day, minute by minute, over the hour that Berlin's clocks leave out in spring."""
BACK = [f"{hour:02}:{i:02}:00" for hour in (1, 2, 2, 3) for i in range(60)]
"""The same over the hour that comes twice in autumn."""


def _times_of_day(times: list[str]) -> str:
    return "time_s,v\n" + "".join(f"{time},12.5\n" for time in times)


@pytest.mark.parametrize("words", [{}, {"zone": ZoneInfo("Europe/Berlin")}])
def test_times_of_day_that_step_over_an_hour_of_the_night_are_asked_about(
    tmp_path: Path, words: dict[str, Any]
) -> None:
    with pytest.raises(Question, match=r"no date and step in line 62 over an hour .*01:59:00 to 03:00:00.*--date"):
        _imported(tmp_path, _times_of_day(FORWARD), **words)
    with pytest.raises(Question, match="name its zone, such as --zone Europe/Berlin, and the day of the first row"):
        _imported(tmp_path, _times_of_day(BACK), **words)


@pytest.mark.parametrize(
    ("times", "day", "hour"), [(FORWARD, date(2024, 3, 31), 1), (BACK, date(2024, 10, 27), 1)], ids=["forward", "back"]
)
def test_with_its_day_and_zone_a_time_of_day_lacks_no_hour(
    tmp_path: Path, times: list[str], day: date, hour: int
) -> None:
    imported, _ = _imported(tmp_path, _times_of_day(times), zone=ZoneInfo("Europe/Berlin"), date=day)
    with open_reader(imported.sessions[0].path) as reader:
        assert np.array_equal(np.diff(reader.series(1).time_s), [60.0] * (len(times) - 1))
        assert (reader.started_at.date(), reader.started_at.hour) == (day, hour)


def test_over_midnight_too(tmp_path: Path) -> None:
    times = [f"23:{i:02}:00" for i in range(60)] + [f"00:{i:02}:00" for i in range(60)] + FORWARD
    imported, _ = _imported(tmp_path, _times_of_day(times), zone=ZoneInfo("Europe/Berlin"), date=date(2024, 3, 30))
    with open_reader(imported.sessions[0].path) as reader:
        assert np.array_equal(np.diff(reader.series(1).time_s), [60.0] * 239)
        assert reader.started_at.isoformat() == "2024-03-30T23:00:00+01:00"


@pytest.mark.parametrize(
    ("day", "offset"), [(date(2024, 3, 31), timezone(timedelta(hours=1))), (date(2024, 4, 1), None)]
)
def test_an_offset_or_another_day_keeps_the_gap(tmp_path: Path, day: date, offset: timezone | None) -> None:
    imported, _ = _imported(tmp_path, _times_of_day(FORWARD), zone=offset, date=day)
    with open_reader(imported.sessions[0].path) as reader:
        assert reader.series(1).time_s[60] - reader.series(1).time_s[59] == 3660.0


def test_channels_west_of_greenwich_begin_with_their_first_row(tmp_path: Path) -> None:
    text = "time_s,what,v\n2024-07-01 12:00:00,feed,12\n2024-07-01 12:00:01,ground,0\n2024-07-01 12:00:02,feed,12\n"
    imported, _ = _imported(tmp_path, text, channel="what", zone=ZoneInfo("America/New_York"))
    with open_reader(imported.sessions[0].path) as reader:
        assert reader.started_at.isoformat() == "2024-07-01T12:00:00-04:00"
        assert reader.series(1).time_s.tolist() == [0.0, 2.0]
