"""Export then import gives the same session, whatever is in it."""

from __future__ import annotations

import csv
import json
import math
import struct
from collections.abc import Callable
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pyarrow.parquet as pq
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from meterlog.errors import EmptySession, SessionWriteFailed, TableError, UsageError
from meterlog.exchange.csv_export import export_csv
from meterlog.exchange.parquet import export_parquet, import_parquet
from meterlog.exchange.session_table import COLUMNS, guard, unguard
from meterlog.exchange.session_table_import import import_session_table, is_session_table
from meterlog.exchange.table.remarks import Remarks
from meterlog.reading import Accuracy, Flag, Quantity
from meterlog.series import Series
from meterlog.session import SessionReader, SessionWriter, open_reader

TEXT = st.text(st.characters(exclude_categories=["Cs"]), max_size=12)
FORMULAS = st.sampled_from(["=1+1", "+x", "-x", "@sum", "'quoted", '"', "a,b;c\td", "line\nend\r\nlast", "\r", "'=2"])
WORDS = TEXT | FORMULAS
NAMES = WORDS.filter(lambda word: bool(word.strip()))
VALUES = st.floats(allow_nan=False) | st.integers(-20_000, 20_000).map(lambda n: n / 100)
TIMES_US = st.lists(st.integers(0, 10**9), max_size=30).map(sorted)


class Part(NamedTuple):
    """A channel with its readings."""

    label: str
    quantity: Quantity
    point: str
    accuracy: Accuracy
    interval_s: float | None
    times_us: list[int]
    values: list[float]
    resolutions: list[float]
    flags: list[int]


@st.composite
def parts(draw: st.DrawFn) -> Part:
    times_us = draw(TIMES_US)
    n = len(times_us)
    resolution = st.sampled_from([math.nan, 0.01, 0.001, 1.0, 1e-6]) | st.floats(2**-30, 128, width=32)
    return Part(
        draw(WORDS),
        draw(st.sampled_from(Quantity)),
        draw(WORDS),
        Accuracy(draw(st.floats(0, 1)), draw(st.floats(0, 10)), draw(st.sampled_from([0.0, 0.05, 1.0 / 3.0]))),
        draw(st.none() | st.floats(0.01, 10)),
        times_us,
        draw(st.lists(VALUES, min_size=n, max_size=n)),
        draw(st.lists(resolution, min_size=n, max_size=n)),
        draw(st.lists(st.integers(0, 1023), min_size=n, max_size=n)),
    )


MARKERS = st.lists(st.tuples(st.integers(0, 10**9), NAMES, WORDS, NAMES), max_size=5)
MOMENTS = st.datetimes(datetime(1990, 1, 1), datetime(2100, 1, 1), timezones=st.just(timezone(timedelta(hours=5))))  # noqa: DTZ001
DETAILS = st.dictionaries(WORDS, WORDS, max_size=3)


def _fingerprint(reader: SessionReader) -> object:
    series = [reader.series(channel.number) for channel in reader.channels]
    return (
        reader.started_at,
        reader.details,
        [repr(channel) for channel in reader.channels],
        [(np.rint(s.time_s * 1e6).tolist(), s.value.tobytes(), s.flags.tobytes()) for s in series],
        [[struct.pack("f", r) for r in s.resolution.tolist()] for s in series],
        [(marker.time_s, marker.name, marker.note, marker.by) for marker in reader.markers],
        [repr(change) for change in reader.link_changes],
    )


@pytest.mark.slow
@settings(max_examples=25, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.lists(parts(), min_size=1, max_size=3).filter(lambda some: any(part.times_us for part in some)),
    MARKERS,
    MOMENTS,
    DETAILS,
    st.sampled_from([(",", "."), (";", ","), ("\t", ","), ("|", "."), ("parquet", "")]),
)
def test_export_then_import_gives_the_same_session(
    tmp_path: Path,
    channels: list[Part],
    markers: list[tuple[int, str, str, str]],
    moment: datetime,
    details: dict[str, str],
    form: tuple[str, str],
) -> None:
    for path in tmp_path.iterdir():
        path.unlink()
    with SessionWriter.create(tmp_path / "a.sqlite", started_at=moment, details=details) as writer:
        for part in channels:
            number = writer.add_channel(
                part.label, part.quantity, point=part.point, accuracy=part.accuracy, interval_s=part.interval_s
            )
            arrays = (np.array(part.times_us) / 1e6, np.array(part.values, np.float64))
            writer.append_series(
                number, Series(*arrays, np.array(part.resolutions, np.float32), np.array(part.flags, np.uint16))
            )
        for time_us, *words in markers:
            writer.add_marker(time_us / 1e6, *words)
        writer.add_link_change(0.5, "a meter, on =port", True, "opened\nagain", 1)
    out, again = tmp_path / ("t.parquet" if form[0] == "parquet" else "t.csv"), tmp_path / "b.sqlite"
    with open_reader(tmp_path / "a.sqlite") as reader:
        before = _fingerprint(reader)
        if form[0] == "parquet":
            export_parquet(reader, out)
        else:
            export_csv(reader, out, delimiter=form[0], decimal=form[1])
    if form[0] == "parquet":
        import_parquet(out, again, {})
    else:
        assert is_session_table(out)
        import_session_table(out, again, {}, Remarks())
    with open_reader(again) as reader:
        assert _fingerprint(reader) == before


@given(WORDS)
def test_guarded_texts_are_no_formulas_and_come_back(word: str) -> None:
    assert not guard(word).startswith(("=", "+", "-", "@", "\t", "\r"))
    assert unguard(guard(word)) == word


@pytest.fixture
def small(tmp_path: Path) -> Path:
    """A session with two channels that share moments, an overload, and markers on and between readings."""
    path = tmp_path / "small.sqlite"
    start = datetime(2026, 1, 2, 3, 4, 5, tzinfo=UTC)
    with SessionWriter.create(path, started_at=start, details={"vehicle": "=van"}) as writer:
        for label, values in (("feed", [12.6, math.inf, 12.5]), ("=ground", [0.02, 0.03, 0.02])):
            channel = writer.add_channel(label, Quantity.DC_VOLTAGE)
            flags = np.array([0, int(Flag.OVERLOAD), 0] if label == "feed" else [0, 0, 0], np.uint16)
            times = np.array([0.0, 0.3, 0.6])
            writer.append_series(channel, Series(times, np.array(values), np.full(3, 0.01, np.float32), flags))
        writer.add_marker(0.3, "key-on")
        writer.add_marker(0.45, "=crank")
    return path


def test_the_table_is_plain_and_safe(small: Path, tmp_path: Path) -> None:
    with open_reader(small) as reader:
        assert export_csv(reader, tmp_path / "t.csv", delimiter=",", decimal=".") == 6
    with (tmp_path / "t.csv").open(newline="", encoding="utf-8") as file:
        header, *rows = list(csv.reader(file))
    assert tuple(header) == COLUMNS
    assert [row[:8] for row in rows] == [
        ["0.000000", "1", "feed", "12.60", "V", "0.01", "", ""],
        ["0.000000", "2", "'=ground", "0.02", "V", "0.01", "", ""],
        ["0.300000", "1", "feed", "OL", "V", "0.01", "overload", "key-on"],
        ["0.300000", "2", "'=ground", "0.03", "V", "0.01", "", ""],
        ["0.450000", "", "", "", "", "", "", "'=crank"],
        ["0.600000", "1", "feed", "12.50", "V", "0.01", "", ""],
        ["0.600000", "2", "'=ground", "0.02", "V", "0.01", "", ""],
    ]
    assert json.loads(rows[0][-1])["details"] == {"vehicle": "=van"}
    assert {row[-1] for row in rows[1:-1]} == {""}
    assert json.loads(rows[-1][-1]) == {"end": {"readings": 6, "markers": 2}}


def test_a_table_that_breaks_off_is_no_shorter_session(small: Path, tmp_path: Path) -> None:
    out, again = tmp_path / "t.csv", tmp_path / "b.sqlite"
    with open_reader(small) as reader:
        export_csv(reader, out, delimiter=",", decimal=".")
    whole = out.read_bytes()
    for cut in (whole[: whole.index(b"0.450000")], whole[:-60], whole[:-5]):
        out.write_bytes(cut)
        with pytest.raises(TableError, match="breaks off"):
            import_session_table(out, again, {}, Remarks())
        assert not again.exists()
    out.write_bytes(whole)
    assert import_session_table(out, again, {}, remarks := Remarks()) == ({"feed": 3, "=ground": 3}, 2)
    assert [*remarks.sentences()] == []


def test_rows_that_were_taken_out_by_hand_are_said(small: Path, tmp_path: Path) -> None:
    out, remarks = tmp_path / "t.csv", Remarks()
    with open_reader(small) as reader:
        export_csv(reader, out, delimiter=",", decimal=".")
    out.write_text("".join(row for row in out.read_text().splitlines(keepends=True) if "0.300000" not in row))
    import_session_table(out, tmp_path / "b.sqlite", {}, remarks)
    (said,) = remarks.sentences()
    assert "4 of 6 readings, 1 of 2 markers" in said


def test_a_table_of_a_version_that_had_no_last_word_is_taken_as_it_is(small: Path, tmp_path: Path) -> None:
    out = tmp_path / "t.csv"
    with open_reader(small) as reader:
        export_csv(reader, out, delimiter=",", decimal=".")
    table = out.read_text().replace(', ""says_its_end"": true', "")
    out.write_text("".join(table.splitlines(keepends=True)[:-1]))
    assert import_session_table(out, tmp_path / "b.sqlite", {}, Remarks()) == ({"feed": 3, "=ground": 2}, 2)


def test_an_existing_file_is_kept_unless_told_and_nothing_is_left_behind(small: Path, tmp_path: Path) -> None:
    out = tmp_path / "t.csv"
    out.write_text("mine")
    with open_reader(small) as reader:
        with pytest.raises(SessionWriteFailed, match="exists already"):
            export_csv(reader, out, delimiter=",", decimal=".")
        with pytest.raises(SessionWriteFailed, match="exists already"):
            export_parquet(reader, out)
        assert out.read_text() == "mine"
        export_csv(reader, out, delimiter=",", decimal=".", replace=True)
        with pytest.raises(SessionWriteFailed, match="cannot be written"):
            export_csv(reader, tmp_path / "absent" / "t.csv", delimiter=",", decimal=".")
        with pytest.raises(UsageError, match="same character"):
            export_csv(reader, tmp_path / "u.csv", delimiter=",", decimal=",")
    assert sorted(file.name for file in tmp_path.iterdir()) == ["small.sqlite", "t.csv"]


def test_an_empty_session_makes_no_table(tmp_path: Path) -> None:
    with SessionWriter.create(tmp_path / "empty.sqlite"):
        pass
    exports: list[Callable[[SessionReader], int]] = [
        lambda reader: export_csv(reader, tmp_path / "t.csv", delimiter=",", decimal="."),
        lambda reader: export_parquet(reader, tmp_path / "t.parquet"),
    ]
    with open_reader(tmp_path / "empty.sqlite") as reader:
        for export in exports:
            with pytest.raises(EmptySession):
                export(reader)
    assert [file.name for file in tmp_path.iterdir()] == ["empty.sqlite"]


def test_a_damaged_table_is_one_sentence_and_makes_nothing(small: Path, tmp_path: Path) -> None:
    out = tmp_path / "t.csv"
    with open_reader(small) as reader:
        export_csv(reader, out, delimiter=",", decimal=".")
    text = out.read_text()
    for damaged in (
        text.replace("started_at", "begun"),
        text.replace("0.300000", "soon"),
        text.replace(",2,", ",9,", 9),
    ):
        assert damaged != text
        out.write_text(damaged)
        with pytest.raises(TableError):
            import_session_table(out, tmp_path / "b.sqlite", {}, Remarks())
        assert not (tmp_path / "b.sqlite").exists()
    (tmp_path / "t.parquet").write_bytes(b"PAR1 no")
    with pytest.raises(TableError, match="damaged or not a Parquet file"):
        import_parquet(tmp_path / "t.parquet", tmp_path / "b.sqlite", {})


def test_a_session_with_very_many_link_changes_comes_back(tmp_path: Path) -> None:
    path, out, again = tmp_path / "a.sqlite", tmp_path / "t.csv", tmp_path / "b.sqlite"
    with SessionWriter.create(path, started_at=datetime(2026, 1, 2, tzinfo=UTC)) as writer:
        writer.add_channel("feed", Quantity.DC_VOLTAGE)
        writer.append_series(1, Series(np.zeros(1), np.ones(1), np.ones(1, np.float32), np.zeros(1, np.uint16)))
        for i in range(2000):
            writer.add_link_change(i / 10, "status14 on /dev/ttyUSB0", bool(i % 2), "no readings for 5 s: silent", 1)
    with open_reader(path) as reader:
        export_csv(reader, out, delimiter=",", decimal=".")
    import_session_table(out, again, {}, Remarks())
    with open_reader(again) as reader:
        assert len(reader.link_changes) == 2000


def test_an_exported_table_that_was_sorted_or_edited_is_one_sentence(small: Path, tmp_path: Path) -> None:
    out = tmp_path / "t.csv"
    with open_reader(small) as reader:
        export_csv(reader, out, delimiter=",", decimal=".")
    header, first, *rows = out.read_text().splitlines()
    for changed, sentence in (
        ([header, first, *reversed(rows)], "sort its rows by time_s"),
        ([header, first.replace("12.60", "nan"), *rows], "'nan' is not a number"),
        ([header, first, *rows, rows[-1].replace("0.600000", "inf")], "'inf' is not a number"),
        ([header, first.replace("+00:00", ""), *rows], "no offset from UTC"),
    ):
        out.write_text("\n".join(changed) + "\n")
        with pytest.raises(TableError, match=sentence):
            import_session_table(out, tmp_path / "b.sqlite", {}, Remarks())
        assert not (tmp_path / "b.sqlite").exists()


@pytest.mark.parametrize(
    ("key", "said"),
    [
        ("meterlog.markers", "[1]"),
        ("meterlog.markers", '[[0.5, "name only"]]'),
        (
            "meterlog.session",
            '{"started_at": "2026-01-02T00:00:00Z", "details": {}, "channels": [], "link_changes": []}',
        ),
    ],
)
def test_a_parquet_file_whose_description_was_changed_is_one_sentence(
    small: Path, tmp_path: Path, key: str, said: str
) -> None:
    out = tmp_path / "t.parquet"
    with open_reader(small) as reader:
        export_parquet(reader, out)
    table = pq.read_table(out)
    pq.write_table(table.replace_schema_metadata({**(table.schema.metadata or {}), key.encode(): said.encode()}), out)
    with pytest.raises(TableError):
        import_parquet(out, tmp_path / "b.sqlite", {})
    assert not (tmp_path / "b.sqlite").exists()
