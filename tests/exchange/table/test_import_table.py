"""Tables from elsewhere become the sessions their makers meant; what is left out is counted with its lines."""

from __future__ import annotations

import math
import os
import random
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from meterlog.errors import SessionWriteFailed, TableError, UsageError
from meterlog.exchange.table.import_plan import make_plan
from meterlog.exchange.table.import_table import Imported, import_table
from meterlog.exchange.table.options import ImportOptions
from meterlog.exchange.table.remarks import Remarks
from meterlog.reading import Flag, Quantity
from meterlog.session import SessionReader, open_reader


class Bench:
    """Imports texts in a folder of its own."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.remarks = Remarks()
        self.out = folder / "out.sqlite"

    def imported(self, text: str | bytes, **words: Any) -> Imported:
        """Import a table; the first of the usual column names are the default."""
        self.remarks = Remarks()
        path = self.folder / "table.csv"
        path.write_bytes(text.encode() if isinstance(text, str) else text)
        usual: dict[str, Any] = {"time": ("time_s",), "value": ("v",), "quantity": ("dc_voltage",), "unit": ("V",)}
        return import_table(make_plan(path, ImportOptions(**usual | words)), self.out, self.remarks, {})

    def session(self, text: str | bytes, **words: Any) -> SessionReader:
        """Import a table and open what came of it."""
        self.out.unlink(missing_ok=True)
        self.imported(text, **words)
        return open_reader(self.out)

    def notes(self) -> str:
        """Return what was counted."""
        return "\n".join(self.remarks.sentences())


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    """A place to import texts."""
    return Bench(tmp_path)


def test_a_clean_table_with_markers_gaps_and_overload(bench: Bench) -> None:
    text = "time_s,v,note\n0.0,12.60,\n0.3,12.58,key-on\n0.6,OL,\n0.9,,crank\n1.2,,\n60.0,12.55,\n"
    with bench.session(text, marker="note") as reader:
        series = reader.series(1)
        assert series.time_s.tolist() == [0.0, 0.3, 0.6, 60.0]
        assert series.value.tolist() == [12.60, 12.58, math.inf, 12.55]
        assert series.flags.tolist() == [0, 0, int(Flag.OVERLOAD), 0]
        assert np.isnan(series.resolution[2])
        assert series.resolution[[0, 1, 3]].tolist() == [np.float32(0.01)] * 3
        assert [(m.time_s, m.name, m.by) for m in reader.markers] == [
            (0.3, "key-on", "import"),
            (0.9, "crank", "import"),
        ]
        (channel,) = reader.channels
        assert (channel.label, channel.quantity, channel.driver) == ("v", Quantity.DC_VOLTAGE, "import")
        assert reader.ended == "clean"
    assert bench.notes() == "blank values of 'v', left out: 1 (line 6)"
    assert sorted(file.name for file in bench.folder.iterdir()) == ["out.sqlite", "table.csv"]


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "latin-1"])
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_encodings_and_line_ends(bench: Bench, encoding: str, end: str) -> None:
    text = end.join(["Größe;U [µV];M", "0;1,5;Zündung", "1;2,5;", ""])
    with bench.session(
        text.encode(encoding), time=("Größe",), value=("U",), unit=(), marker="M", time_unit="s"
    ) as reader:
        assert reader.series(1).value.tolist() == [1.5e-6, 2.5e-6]
        assert reader.markers[0].name == "Zündung"
        assert reader.channels[0].label == "U"


def test_lines_before_the_header_units_below_it_and_a_header_again(bench: Bench) -> None:
    text = "Report 7\n\nsep=;\ntime_s;v\ns;V\n0;1,5\ntime_s;v\n1;2,5\nend of data\n"
    with bench.session(text) as reader:
        assert reader.series(1).value.tolist() == [1.5, 2.5]
    assert bench.notes() == (
        "repeated header lines, skipped: 1 (line 7)\nlines of text after the last row, left out: 1 (line 9)"
    )


def test_ragged_damaged_and_text_rows_are_counted_with_their_lines(bench: Bench) -> None:
    text = 'time_s,v\n0,1.5\n1\n2,2.5,3,4\n3,bad\n"4,4.5\n5,5.5\nx,6.5\n,7.5\n8,8.5,\n9,"9.5"\n'
    with bench.session(text) as reader:
        assert reader.series(1).time_s.tolist() == [0, 5, 8, 9]
        assert reader.series(1).value.tolist() == [1.5, 5.5, 8.5, 9.5]
    for words in (
        "too few cells, skipped: 1 (line 3)",
        "more cells than the header, skipped: 1 (line 4)",
        "words in place of values, kept as markers: 1 (line 5)",
        "quote that does not close, skipped: 1 (line 6)",
        "time cannot be read, skipped: 1 (line 8)",
        "without a time, skipped: 1 (line 9)",
    ):
        assert words in bench.notes()


def test_a_quoted_cell_may_hold_line_ends_and_the_delimiter(bench: Bench) -> None:
    with bench.session('time_s,v,m\n0,1,"one, ""two""\nthree"\n1,2,\n', marker="m") as reader:
        assert reader.markers[0].name == 'one, "two"\nthree'
        assert reader.count(1) == 2


def test_time_going_back_and_a_stamp_far_ahead_are_left_out_and_the_same_stamp_kept(bench: Bench) -> None:
    text = "time_s,v\n0,1\n1,2\n0.5,3\n2,4\n2,5\n9999,6\n3,7\n4,8\n5,9\n"
    with bench.session(text) as reader:
        assert reader.series(1).value.tolist() == [1, 2, 4, 5, 7, 8, 9]
    for words in ("before an earlier row's, skipped: 1 (line 4)", "the same time as the one before, kept: 1 (line 6)"):
        assert words in bench.notes()
    assert "ahead of the rows after them, skipped: 1 (line 7)" in bench.notes()


def test_a_wide_table_gives_a_channel_a_column(bench: Bench) -> None:
    text = "time_s,feed [mV],pump_A\n0,12600,4.5\n1,12500,\n2,12400,4.7\n"
    words = {"value": ("feed", "pump_A"), "quantity": ("dc_voltage", "dc_current"), "unit": ()}
    with bench.session(text, **words) as reader:
        assert [(c.label, str(c.quantity)) for c in reader.channels] == [("feed", "dc_voltage"), ("pump", "dc_current")]
        assert reader.series(1).value.tolist() == [12.6, 12.5, 12.4]
        assert reader.series(2).time_s.tolist() == [0, 2]


def test_a_long_table_gives_a_channel_a_name(bench: Bench) -> None:
    text = "time_s,what,v\n0,feed,12.6\n0,ground,0.02\n1,feed,12.5\n1,,5\n1.5,ground,0.03\n"
    with bench.session(text, channel="what") as reader:
        assert [c.label for c in reader.channels] == ["feed", "ground"]
        assert reader.series(2).value.tolist() == [0.02, 0.03]
    assert "without a channel name, left out: 1 (line 5)" in bench.notes()


def test_iso_times_start_the_session_at_the_first_row(bench: Bench) -> None:
    text = "time_s,v\n2024-05-01T12:00:00.250+02:00,1\n2024-05-01T12:00:01.500+02:00,2\n"
    with bench.session(text) as reader:
        assert reader.started_at == datetime(2024, 5, 1, 10, 0, 0, 250_000, tzinfo=UTC)
        assert reader.series(1).time_s.tolist() == [0.0, 1.25]


def test_local_times_take_the_offset_given(bench: Bench) -> None:
    text = "time_s,v\n13/05/2024 12:00:00,1\n13/05/2024 12:00:01,2\n"
    with bench.session(text, zone=timezone(timedelta(hours=-5))) as reader:
        assert reader.started_at == datetime(2024, 5, 13, 17, tzinfo=UTC)


def test_a_date_and_a_clock_column_past_midnight(bench: Bench) -> None:
    text = "d,t,v\n31.12.2023,23:59:59,1\n01.01.2024,00:00:01,2\n"
    with bench.session(text, time=("d", "t"), zone=UTC) as reader:
        assert reader.started_at == datetime(2023, 12, 31, 23, 59, 59, tzinfo=UTC)
        assert reader.series(1).time_s.tolist() == [0.0, 2.0]


def test_clock_times_run_on_past_midnight_from_the_date_given(bench: Bench) -> None:
    text = "time_s,v\n23:59:59,1\n00:00:01,2\n00:00:01.5,3\n"
    with bench.session(text, date=datetime(2024, 2, 3, tzinfo=UTC).date(), zone=UTC) as reader:
        assert reader.started_at == datetime(2024, 2, 3, 23, 59, 59, tzinfo=UTC)
        assert reader.series(1).time_s.tolist() == [0.0, 2.0, 2.5]


def test_mere_seconds_stay_as_they_are_and_the_start_is_said_to_be_the_files_date(bench: Bench) -> None:
    imported = bench.imported("time_s,v\n5.5,1\n6,2\n")
    assert "--started-at" in imported.notes[0]
    with open_reader(bench.out) as reader:
        assert reader.series(1).time_s.tolist() == [5.5, 6.0]
        assert reader.started_at.timestamp() == pytest.approx(os.path.getmtime(bench.folder / "table.csv"), abs=1e-5)


def test_columns_by_number_without_a_header(bench: Bench) -> None:
    words = {"time": ("1",), "value": ("3",), "time_unit": "s"}
    with bench.session("0;x;1,5\n1;y;2,5\n", **words) as reader:
        assert reader.series(1).value.tolist() == [1.5, 2.5]
        assert reader.channels[0].label == "column 3"


def test_a_decimal_comma_is_no_delimiter_where_semicolons_explain_more(bench: Bench) -> None:
    with bench.session("1;2,5\n2;3,5\n", time=("1",), value=("2",), time_unit="s") as reader:
        assert reader.series(1).value.tolist() == [2.5, 3.5]


def test_a_column_by_number_is_the_column_by_name_header_included(bench: Bench) -> None:
    text = "Time (ms),U (mV)\n1000,12100\n2000,12200\n"
    for words in ({"time": ("1",), "value": ("2",)}, {"time": ("time",), "value": ("u",)}):
        with bench.session(text, unit=(), **words) as reader:
            assert reader.series(1).time_s.tolist() == [1.0, 2.0]
            assert reader.series(1).value.tolist() == [12.1, 12.2]
            assert reader.channels[0].label == "U"


@pytest.mark.parametrize(
    ("text", "words", "sentence"),
    [
        ("time_s,v\n0,1\n", {"value": ("volts",)}, r"no column .* is called 'volts'; there are 'time_s', 'v'"),
        ("time_s,v,v\n0,1,2\n", {}, r"2 columns are called 'v'.*2 or 3"),
        ("time_s,v (mV)\n0,1\n", {}, r"says mV and --unit says V.*--unit-from header or --unit-from option"),
        ("time_s,v\n0,1\n", {"unit": ()}, r"give --unit, for example --unit V"),
        ("time_s,v\n0,1\n", {"unit": ("mA",)}, r"not one of dc_voltage"),
        ("time_s,v\n0,1\n", {"unit": ("MV",)}, r"milli or as mega"),
        ("time_s,v\n0,1\n", {"quantity": ()}, r"give --quantity"),
        ("time_s,v\n0,x\n1,y\n", {}, r"has no usable reading: .*not numbers.*\(lines 2, 3\)"),
        ("time_s,v\n", {}, r"no cell of the time column is a time"),
        ("time_s,v\nfoo,1\n", {}, r"no cell of the time column is a time"),
        ("", {}, r"empty file"),
        ("01/02/2024 12:00;1\n", {"time": ("1",), "value": ("2",)}, r"1 February 2024 or as 2 January 2024"),
        ("time_s,v\n0,1\n", {"encoding": "utf-97"}, r"no encoding"),
        ("time_s,v\n0,1\n", {"encoding": "utf-16"}, r"not in the encoding utf-16"),
    ],
)
def test_what_is_unclear_or_missing_is_one_sentence_and_makes_nothing(
    bench: Bench, text: str, words: dict[str, Any], sentence: str
) -> None:
    with pytest.raises(TableError, match=sentence):
        bench.imported(text, **words)
    assert not bench.out.exists()
    assert [file.name for file in bench.folder.iterdir()] == ["table.csv"]


def test_the_unit_is_settled_by_the_option(bench: Bench) -> None:
    text = "time_s,v (mV)\n0,1500\n"
    with bench.session(text, unit_from="header") as reader:
        assert reader.series(1).value.tolist() == [1.5]
    with bench.session(text, unit_from="option") as reader:
        assert reader.series(1).value.tolist() == [1500.0]


def test_units_in_cells_hold_over_the_option_and_fahrenheit_becomes_celsius(bench: Bench) -> None:
    with bench.session("time_s,v\n0,1500 mV\n1,2.5 V\n2,3\n3,4 A\n") as reader:
        assert reader.series(1).value.tolist() == [1.5, 2.5, 3.0]
    assert "unit of another quantity, left out: 1 (line 5)" in bench.notes()
    with bench.session("time_s,v\n0,212\n", quantity=("temperature",), unit=("F",)) as reader:
        assert reader.series(1).value.tolist() == [100.0]


def test_options_that_do_not_fit_together_are_refused(bench: Bench) -> None:
    with pytest.raises(UsageError, match="2 times for 1"):
        bench.imported("time_s,v\n0,1\n", unit=("V", "mV"))
    with pytest.raises(UsageError, match="no quantity 'volts'"):
        bench.imported("time_s,v\n0,1\n", quantity=("volts",))


def test_an_existing_session_is_kept(bench: Bench) -> None:
    bench.out.write_text("mine")
    with pytest.raises(SessionWriteFailed, match="exists already"):
        bench.imported("time_s,v\n0,1\n")
    assert bench.out.read_text() == "mine"


def test_blocks_join_without_a_seam(bench: Bench) -> None:
    rng = random.Random(3)
    rows = [(i * 0.1, 12 + rng.randrange(100) / 100) for i in range(50_000)]
    lines = [f"{t:.3f},{v:.2f}," for t, v in rows]
    lines[20_479] += '"a marker\nof two lines"'
    lines[30_000] = ""
    with bench.session("time_s,v,m\n" + "\n".join(lines) + "\n", marker="m") as reader:
        series = reader.series(1)
        assert reader.markers[0].time_s == 2047.9
    kept = [row for i, row in enumerate(rows) if i != 30_000]
    assert series.value.tolist() == [round(v, 2) for _, v in kept]
    assert np.rint(series.time_s * 10).tolist() == [round(t * 10) for t, _ in kept]


@pytest.mark.slow
@settings(max_examples=50, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.binary(max_size=300) | st.text(alphabet='0123456789.,;:-/"\n\r\t tvOL', max_size=300).map(str.encode))
def test_any_bytes_below_a_header_are_a_session_or_a_sentence(bench: Bench, junk: bytes) -> None:
    try:
        with bench.session(b"time_s,v\n0,1.5\n" + junk) as reader:
            series = reader.series(1)
    except TableError:
        return
    assert len(series) >= 1
    assert not np.isnan(series.value).any()
    assert (np.diff(series.time_s) >= 0).all()


def test_two_columns_of_one_title_are_told_apart_by_their_numbers(bench: Bench) -> None:
    with bench.session("time_s,v,v\n0,12.5,0.1\n1,12.6,0.2\n", value=("2", "3")) as reader:
        assert [channel.label for channel in reader.channels] == ["v", "v"]
        assert reader.series(1).value.tolist() == [12.5, 12.6]
        assert reader.series(2).value.tolist() == [0.1, 0.2]


def test_a_column_that_was_not_asked_for_may_have_any_header(bench: Bench) -> None:
    with bench.session("time_s,v,v_MA\n0,12.5,12.4\n") as reader:
        assert reader.series(1).value.tolist() == [12.5]


def test_an_inch_mark_within_a_cell_is_a_character_and_takes_no_rows_with_it(bench: Bench) -> None:
    text = 'time_s,v,m\n0,1.5,3" pipe\n1,2.5,\n2,3.5,4" pipe\n3,4.5,"5"" pipe"\n'
    with bench.session(text, marker="m") as reader:
        assert reader.series(1).value.tolist() == [1.5, 2.5, 3.5, 4.5]
        assert [marker.name for marker in reader.markers] == ['3" pipe', '4" pipe', '5" pipe']
    assert bench.notes() == ""


def test_a_clock_that_falls_back_for_one_row_has_passed_no_midnight(bench: Bench) -> None:
    text = "time_s,v\n13:00:00,1\n13:00:01,2\n00:00:00,3\n13:00:02,4\n23:59:59,5\n00:00:01,6\n"
    with bench.session(text, zone=UTC) as reader:
        assert reader.series(1).value.tolist() == [1, 2, 4, 5, 6]
        assert reader.series(1).time_s.tolist() == [0.0, 1.0, 2.0, 39_599.0, 39_601.0]
    assert "before an earlier row's, skipped: 1 (line 4)" in bench.notes()
    assert "midnights passed, the clock counted on: 1 (line 7)" in bench.notes()


@pytest.mark.parametrize(
    ("cells", "words"),
    [
        (("10:59", "10:75", "11:00"), {"clock": "ms"}),
        (("13.05.2024 10:00", "13.05.2024 30:00", "13.05.2024 10:01"), {}),
    ],
)
def test_what_no_clock_shows_is_no_time(bench: Bench, cells: tuple[str, ...], words: dict[str, Any]) -> None:
    with bench.session("time_s,v\n" + "".join(f"{cell},1\n" for cell in cells), **words) as reader:
        assert reader.count(1) == 2
    assert "rows whose time cannot be read, skipped: 1 (line 3)" in bench.notes()


def test_one_count_in_fahrenheit_is_five_ninths_of_one_in_celsius(bench: Bench) -> None:
    with bench.session("time_s,v\n0,212.0\n", quantity=("temperature",), unit=("degF",)) as reader:
        assert reader.series(1).resolution[0] == np.float32(0.1 / 1.8)
