"""Checks that what is recorded is what is read: finished, growing, in windows, after a cursor, in buckets."""

from __future__ import annotations

import math
import os
import sqlite3
import threading
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from meterlog.errors import EmptySession, SessionBusy, SessionWriteFailed, UsageError
from meterlog.reading import Accuracy, Flag, Quantity, Reading
from meterlog.series import Series
from meterlog.session import LinkChange, SessionWriter, open_reader
from meterlog.session.schema import APPLICATION_ID, CHUNK_READINGS

MakeSeries = Callable[..., Series]


def _same(found: Series, expected: Series) -> None:
    assert np.rint(found.time_s * 1e6).tolist() == np.rint(expected.time_s * 1e6).tolist()
    assert found.value.tobytes() == expected.value.tobytes()
    assert found.resolution.tobytes() == expected.resolution.tobytes()
    assert found.flags.tobytes() == expected.flags.tobytes()


def _readings(series: Series, start_s: float) -> list[Reading]:
    columns = (series.time_s, series.value, series.resolution, series.flags)
    return [
        Reading(start_s + t, v, Quantity.DC_VOLTAGE, r, Flag(f))
        for t, v, r, f in zip(*(column.tolist() for column in columns), strict=True)
    ]


def test_a_finished_session_is_one_plain_file_with_everything(session: Path, make_series: MakeSeries) -> None:
    assert [file.name for file in session.parent.iterdir()] == ["finished.sqlite"]
    with open_reader(session) as reader:
        assert reader.ended == "clean"
        (channel,) = reader.channels
        assert (channel.number, channel.label, channel.point, channel.driver) == (1, "feed", "pump plug", "sim")
        assert channel.quantity is Quantity.DC_VOLTAGE
        assert channel.accuracy == Accuracy()
        assert reader.details == {"vehicle": "van"}
        assert [(m.time_s, m.name, m.note) for m in reader.markers] == [
            (0.5, "wiggle at plug", "left side"),
            (1.0, "key-on", ""),
        ]
        assert reader.link_changes[1] == LinkChange(9.0, 1, "sim on x", False, "unplugged")
        _same(reader.series(1), make_series(10_000))
        assert reader.count(1) == 10_000
        assert reader.duration_s == pytest.approx(make_series(10_000).time_s[-1], abs=1e-6)


def test_the_file_can_be_told_and_read_without_us(session: Path) -> None:
    connection = sqlite3.connect(session)
    assert connection.execute("PRAGMA application_id").fetchone() == (APPLICATION_ID,)
    assert connection.execute("PRAGMA journal_mode").fetchone() == ("delete",)
    assert connection.execute("SELECT unit, label FROM channel").fetchall() == [("V", "feed")]
    counts = connection.execute("SELECT count, first FROM chunk ORDER BY first").fetchall()
    assert counts == [(4096, 0), (4096, 4096), (10_000 - 8192, 8192)]
    assert connection.execute("SELECT count(*) FROM reading").fetchone() == (0,)
    connection.close()


def test_readings_given_one_by_one_are_there_while_it_grows_and_after(tmp_path: Path, make_series: MakeSeries) -> None:
    series = make_series(CHUNK_READINGS + 100)
    path = tmp_path / "growing.sqlite"
    with SessionWriter.create(path) as writer:
        channel = writer.add_channel("feed", Quantity.DC_VOLTAGE, interval_s=0.1)
        readings = _readings(series, writer.monotonic_start_s)
        for i in range(0, len(readings), 37):
            writer.append(channel, readings[i : i + 37])
        writer.flush()
        with open_reader(path) as reader:
            assert reader.ended == "growing"
            _same(reader.series(channel), series)
            assert reader.channels[0].interval_s == 0.1
    with open_reader(path) as reader:
        _same(reader.series(channel), series)


@settings(max_examples=10, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(st.tuples(st.booleans(), st.integers(1, 5000)), min_size=1, max_size=6))
def test_any_mix_of_single_readings_and_arrays_stays_in_order(
    tmp_path: Path, make_series: MakeSeries, parts: list[tuple[bool, int]]
) -> None:
    path = tmp_path / f"{time.monotonic_ns()}.sqlite"
    whole = make_series(sum(count for _, count in parts))
    with SessionWriter.create(path) as writer:
        channel = writer.add_channel("feed", Quantity.DC_VOLTAGE)
        at = 0
        for single, count in parts:
            part = whole[at : at + count]
            if single:
                writer.append(channel, _readings(part, writer.monotonic_start_s))
            else:
                writer.append_series(channel, part)
            at += count
    with open_reader(path) as reader:
        _same(reader.series(channel), whole)
        found, cursor = reader.follow(channel, len(whole) // 3)
        _same(found, whole[len(whole) // 3 :])
        assert cursor == len(whole)
        assert sum(len(block) for block in reader.blocks(channel)) == len(whole)


def test_odd_floats_come_back_from_the_tail_and_from_chunks(tmp_path: Path) -> None:
    odd = [0.0, -0.0, 5e-324, 1.7976931348623157e308, math.inf, -math.inf, 0.1 + 0.2, 12.0]
    path = tmp_path / "odd.sqlite"
    with SessionWriter.create(path) as writer:
        channel = writer.add_channel("feed", Quantity.DC_VOLTAGE)
        start_s = writer.monotonic_start_s
        writer.append(channel, [Reading(start_s + i, value, Quantity.DC_VOLTAGE) for i, value in enumerate(odd)])
        writer.flush()
        with open_reader(path) as reader:
            tail = reader.series(channel)
    with open_reader(path) as reader:
        sealed = reader.series(channel)
    expected = np.array(odd).tobytes()
    assert tail.value.tobytes() == expected
    assert sealed.value.tobytes() == expected
    assert np.isnan(tail.resolution).all()
    assert np.isnan(sealed.resolution).all()


def test_a_window_holds_both_its_ends(session: Path, make_series: MakeSeries) -> None:
    whole = make_series(10_000)
    with open_reader(session) as reader:
        first, last = float(whole.time_s[4000]), float(whole.time_s[4200])
        _same(reader.series(1, first, last), whole[4000:4201])
        assert len(reader.series(1, 1e6, 2e6)) == 0
        _same(reader.series(1, end_s=first), whole[:4001])


def test_following_sees_every_reading_exactly_once_while_it_is_sealed(tmp_path: Path, make_series: MakeSeries) -> None:
    series = make_series(3 * CHUNK_READINGS)
    path = tmp_path / "growing.sqlite"
    seen: list[float] = []
    with SessionWriter.create(path) as writer:
        channel = writer.add_channel("feed", Quantity.DC_VOLTAGE)
        writer.flush()
        readings = _readings(series, writer.monotonic_start_s)

        def give() -> None:
            for i in range(0, len(readings), 500):
                writer.append(channel, readings[i : i + 500])
                writer.flush()

        thread = threading.Thread(target=give)
        thread.start()
        with open_reader(path) as reader:
            cursor = 0
            while cursor < len(series):
                part, cursor = reader.follow(channel, cursor)
                seen += part.time_s.tolist()
        thread.join()
    assert np.rint(np.array(seen) * 1e6).tolist() == np.rint(series.time_s * 1e6).tolist()


def test_many_threads_lose_nothing(tmp_path: Path) -> None:
    path = tmp_path / "many.sqlite"
    with SessionWriter.create(path) as writer:
        start_s = writer.monotonic_start_s

        def meter(number: int) -> None:
            channel = writer.add_channel(f"meter {number}", Quantity.DC_VOLTAGE)
            for i in range(1000):
                writer.append(channel, [Reading(start_s + i * 0.001, number + i / 1000, Quantity.DC_VOLTAGE)])

        threads = [threading.Thread(target=meter, args=(number,)) for number in range(10)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
    with open_reader(path) as reader:
        for channel in reader.channels:
            number = int(channel.label.split()[1])
            assert reader.series(channel.number).value.tolist() == [number + i / 1000 for i in range(1000)]


def test_a_time_before_its_predecessor_is_held_and_counted(tmp_path: Path) -> None:
    with SessionWriter.create(tmp_path / "a.sqlite") as writer:
        channel = writer.add_channel("feed", Quantity.DC_VOLTAGE)
        start_s = writer.monotonic_start_s
        writer.append(channel, [Reading(start_s + t, 1.0, Quantity.DC_VOLTAGE) for t in (1.0, 0.9, 1.1)])
    assert writer.times_held == 1
    with open_reader(writer.path) as reader:
        assert reader.series(1).time_s.tolist() == [1.0, 1.0, 1.1]


def test_the_overview_is_what_the_readings_say(session: Path, make_series: MakeSeries) -> None:
    whole = make_series(10_000)
    with open_reader(session) as reader:
        for start_s, end_s, buckets in ((0.0, 1100.0, 7), (100.0, 900.0, 1), (3.3, 500.0, 900), (-5.0, 2000.0, 3)):
            view = reader.overview(1, start_s, end_s, buckets)
            for i in range(buckets):
                last = i == buckets - 1
                inside = (whole.time_s >= view.edge_s[i]) & (
                    (whole.time_s <= view.edge_s[i + 1]) if last else (whole.time_s < view.edge_s[i + 1])
                )
                values = whole.value[inside & np.isfinite(whole.value)]
                assert view.count[i] == inside.sum()
                assert view.flags[i] == (np.bitwise_or.reduce(whole.flags[inside]) if inside.any() else 0)
                if len(values):
                    assert (view.minimum[i], view.maximum[i]) == (values.min(), values.max())
                else:
                    assert np.isnan(view.minimum[i])


def test_the_overview_keeps_one_reading_dropout_of_a_growing_session(tmp_path: Path) -> None:
    path = tmp_path / "growing.sqlite"
    with SessionWriter.create(path) as writer:
        channel = writer.add_channel("feed", Quantity.DC_VOLTAGE)
        start_s = writer.monotonic_start_s
        readings = [Reading(start_s + i * 0.1, 0.0 if i == 4500 else 12.0, Quantity.DC_VOLTAGE) for i in range(5000)]
        writer.append(channel, readings)
        writer.flush()
        with open_reader(path) as reader:
            view = reader.overview(channel, 0.0, 500.0, 100)
    assert np.flatnonzero(view.minimum == 0.0).tolist() == [90]
    assert view.count.sum() == 5000


def test_an_existing_file_is_never_overwritten(session: Path) -> None:
    before = session.read_bytes()
    with pytest.raises(SessionWriteFailed, match="exists already"):
        SessionWriter.create(session)
    assert session.read_bytes() == before
    assert len(list(session.parent.iterdir())) == 1


def test_a_second_recorder_is_refused_and_the_first_goes_on(tmp_path: Path) -> None:
    path = tmp_path / "a.sqlite"
    with SessionWriter.create(path) as first:
        channel = first.add_channel("feed", Quantity.DC_VOLTAGE)
        with pytest.raises(SessionBusy, match="another recorder"):
            SessionWriter.create(path)
        first.append(channel, [Reading(first.monotonic_start_s, 1.0, Quantity.DC_VOLTAGE)])
    with open_reader(path) as reader:
        assert reader.count(channel) == 1


def test_the_start_keeps_its_offset_and_must_have_one(tmp_path: Path) -> None:
    moment = datetime(2026, 3, 4, 5, 6, 7, tzinfo=timezone(timedelta(hours=2)))
    with SessionWriter.create(tmp_path / "a.sqlite", started_at=moment):
        pass
    with open_reader(tmp_path / "a.sqlite") as reader:
        assert reader.started_at == moment
        assert reader.started_at.utcoffset() == timedelta(hours=2)
    with pytest.raises(ValueError, match="offset"):
        SessionWriter.create(tmp_path / "b.sqlite", started_at=datetime.now(UTC).replace(tzinfo=None))


def test_a_session_without_readings_opens_and_says_so(tmp_path: Path) -> None:
    with SessionWriter.create(tmp_path / "empty.sqlite") as writer:
        writer.add_channel("feed", Quantity.DC_VOLTAGE)
    with open_reader(tmp_path / "empty.sqlite") as reader:
        assert len(reader.series(1)) == 0
        assert reader.follow(1, 0)[1] == 0
        assert reader.duration_s == 0.0
        with pytest.raises(EmptySession, match="no readings"):
            reader.need_readings()


def test_an_unknown_channel_is_named_with_the_known_ones(session: Path) -> None:
    with open_reader(session) as reader, pytest.raises(UsageError, match=r"no channel 7.*channels are 1"):
        reader.series(7)


def test_a_long_session_stays_small_and_its_log_bounded(tmp_path: Path, make_series: MakeSeries) -> None:
    path = tmp_path / "long.sqlite"
    series = make_series(200_000)
    log = 0
    with SessionWriter.create(path) as writer:
        channel = writer.add_channel("feed", Quantity.DC_VOLTAGE)
        writer.flush()
        with open_reader(path) as reader:
            for i in range(0, len(series), 20_000):
                writer.append_series(channel, series[i : i + 20_000])
                reader.overview(channel, 0.0, 1e5, 100)
                log = max(log, os.path.getsize(f"{path}-wal"))
    assert path.stat().st_size / len(series) <= 6.0
    assert log < 16 * 2**20


def test_a_reader_that_stays_open_does_not_keep_the_recorder_from_ending(tmp_path: Path) -> None:
    path = tmp_path / "a.sqlite"
    writer = SessionWriter.create(path)
    channel = writer.add_channel("feed", Quantity.DC_VOLTAGE)
    writer.append(channel, [Reading(writer.monotonic_start_s, 1.0, Quantity.DC_VOLTAGE)])
    writer.flush()
    reader = open_reader(path)
    writer.close()
    assert reader.ended == "clean"
    assert reader.count(channel) == 1
    reader.close()
    assert [file.name for file in tmp_path.iterdir()] == ["a.sqlite"]
