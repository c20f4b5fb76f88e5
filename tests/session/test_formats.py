"""Format 2: uncertain times, doubtful readings, rejected frames and check sums; format 1 is read as it is."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import numpy as np
import pytest

from meterlog.reading import Flag, Quantity, Reading
from meterlog.series import Series
from meterlog.session import SessionWriter, add_marker, open_reader
from meterlog.session.corrections import correct
from meterlog.session.schema import CHUNK_READINGS, LATEST, MIGRATIONS


def change(path: Path, statement: str) -> None:
    """Return what a defect, or someone with a database tool, does to a session."""
    with closing(sqlite3.connect(path, isolation_level=None)) as connection:
        connection.execute(statement)


def test_migrations_are_numbered_and_recorded(session: Path) -> None:
    assert [step.number for step in MIGRATIONS] == list(range(1, LATEST + 1))
    with closing(sqlite3.connect(session)) as connection:
        assert connection.execute("SELECT number FROM migration").fetchall() == [(1,), (2,)]
        assert connection.execute("PRAGMA user_version").fetchone() == (LATEST,)


def test_format_1_is_read_and_left_untouched(format_1: Path) -> None:
    before = format_1.read_bytes()
    with open_reader(format_1) as reader:
        series = reader.series(1)
        (channel,) = reader.channels
        assert channel.rejected == 0
        assert reader.lost == 0
        assert sum(len(block) for block in reader.blocks(1)) == 5000
        assert reader.overview(1, 0.0, 1250.0, 5).count.tolist() == [1000] * 5
        assert len(reader.series(1, 100.0, 200.0)) == 401
    assert series.time_s.tolist() == [k * 0.25 for k in range(5000)]
    assert np.flatnonzero(np.isinf(series.value)).tolist() == list(range(39, 5000, 40))
    assert series.value[1] == 12.01
    assert not series.time_error_s.any()
    assert format_1.read_bytes() == before
    assert [file.name for file in format_1.parent.iterdir()] == [format_1.name]


def test_format_1_takes_markers_and_details_and_stays_format_1(format_1: Path) -> None:
    add_marker(format_1, "wiggle", time_s=2.0)
    correct(format_1, {"complaint": "cranks, does not start"}, {1: "pump feed"})
    with open_reader(format_1) as reader:
        assert [marker.name for marker in reader.markers] == ["key-on", "wiggle"]
        assert reader.details["complaint"] == "cranks, does not start"
        assert reader.channels[0].label == "pump feed"
    with closing(sqlite3.connect(format_1)) as connection:
        assert connection.execute("PRAGMA user_version").fetchone() == (1,)


def test_uncertain_times_doubts_and_rejects_come_back_from_the_tail_and_from_chunks(tmp_path: Path) -> None:
    path = tmp_path / "a.sqlite"
    errors = [0.0, 0.25, 0.000001, 7200.0]
    with SessionWriter.create(path) as writer:
        channel = writer.add_channel("feed", Quantity.DC_VOLTAGE)
        flags = Flag.DC | Flag.DOUBTFUL
        for k, error_s in enumerate(errors):
            reading = Reading(writer.monotonic_start_s + k, 12.0, Quantity.DC_VOLTAGE, 0.01, flags, 0, error_s)
            writer.append(channel, [reading])
        writer.set_rejected(channel, 7)
        writer.set_rejected(channel, 9)
        writer.flush()
        with open_reader(path) as reader:
            tail = reader.series(channel)
            assert reader.channels[0].rejected == 9
    with open_reader(path) as reader:
        sealed = reader.series(channel)
        assert reader.channels[0].rejected == 9
    for series in (tail, sealed):
        assert series.time_error_s.dtype == np.float32
        # an hour and 11 minutes is the most that the file holds
        assert series.time_error_s.tolist() == pytest.approx([*errors[:3], (2**32 - 1) / 1e6])
        assert series.flags.tolist() == [int(flags)] * 4
    with pytest.raises(ValueError, match="channel 7"):
        writer.set_rejected(7, 1)


def test_certain_times_take_no_room(session: Path, make_series: Callable[..., Series]) -> None:
    with closing(sqlite3.connect(session)) as connection:
        assert connection.execute("SELECT DISTINCT time_errors FROM chunk").fetchall() == [(b"",)]
        assert connection.execute("PRAGMA freelist_count").fetchone() == (0,)
    with open_reader(session) as reader:
        assert reader.series(1).time_error_s.strides == (0,)
    assert make_series(10)[2:5].time_error_s.tolist() == [0.0] * 3


def test_one_number_stands_for_all_time_errors(tmp_path: Path, make_series: Callable[..., Series]) -> None:
    certain = make_series(CHUNK_READINGS + 10)
    series = Series(certain.time_s, certain.value, certain.resolution, certain.flags, np.array(0.5, np.float32))
    with SessionWriter.create(tmp_path / "a.sqlite") as writer:
        writer.append_series(writer.add_channel("feed", Quantity.DC_VOLTAGE), series)
    with open_reader(writer.path) as reader:
        assert (reader.series(1).time_error_s == np.float32(0.5)).all()
        assert len(reader.series(1)) == len(series)


CHANGES = {
    "a value": "UPDATE reading SET value = value + 0.01 WHERE number = 3",
    "a value that is gone": "UPDATE reading SET value = NULL WHERE number = 3",
    "a value that is a text": "UPDATE reading SET value = 'high' WHERE number = 3",
    "a time": "UPDATE reading SET time_us = time_us + 1 WHERE number = 3",
    "a time error": "UPDATE reading SET time_error_us = 1 WHERE number = 3",
    "a resolution": "UPDATE reading SET resolution = 0.1 WHERE number = 3",
    "flags": "UPDATE reading SET flags = flags | 2 WHERE number = 3",
    "flags beyond their bits": "UPDATE reading SET flags = 70000 WHERE number = 3",
    "a check sum": "UPDATE reading SET crc = crc + 1 WHERE number = 3",
    "no check sum": "UPDATE reading SET crc = NULL WHERE number = 3",
    "a row": "DELETE FROM reading WHERE number = 3",
}


@pytest.mark.parametrize("name", CHANGES)
def test_a_changed_tail_reading_is_left_out_and_counted(name: str, tmp_path: Path) -> None:
    path = tmp_path / "a.sqlite"
    with SessionWriter.create(path) as writer:
        channel = writer.add_channel("feed", Quantity.DC_VOLTAGE)
        start_s = writer.monotonic_start_s
        writer.append(channel, [Reading(start_s + k, float(k), Quantity.DC_VOLTAGE, 1.0) for k in range(9)])
        writer.flush()
        change(path, CHANGES[name])
        with open_reader(path) as reader:
            assert reader.series(channel).value.tolist() == [0.0, 1.0, 2.0, 4.0, 5.0, 6.0, 7.0, 8.0]
            assert reader.lost == 1
            assert reader.series(channel).value.tolist() == [0.0, 1.0, 2.0, 4.0, 5.0, 6.0, 7.0, 8.0]
            assert reader.lost == 1
            assert len(reader.follow(channel)[0]) == 8


CHUNK_CHANGES = {
    "a column": "UPDATE chunk SET numbers = times WHERE first = 4096",
    "a minimum": "UPDATE chunk SET minimum = 0.0 WHERE first = 4096",
    "overloads": "UPDATE chunk SET overloads = overloads + 1 WHERE first = 4096",
    "a start": "UPDATE chunk SET start_us = start_us + 1 WHERE first = 4096",
    "a count": "UPDATE chunk SET count = 2 WHERE first = 4096",
    "time errors": "UPDATE chunk SET time_errors = flag_bits WHERE first = 4096",
    "a check sum": "UPDATE chunk SET crc = crc + 1 WHERE first = 4096",
    "a chunk": "DELETE FROM chunk WHERE first = 4096",
}
SPAN_CHANGES = ("a minimum", "overloads", "a start", "a count", "a chunk")
"""Return what an overview shows, which decodes no columns of the chunks inside it."""


@pytest.mark.parametrize("name", CHUNK_CHANGES)
def test_a_changed_chunk_is_left_out_and_counted(name: str, session: Path, make_series: Callable[..., Series]) -> None:
    change(session, CHUNK_CHANGES[name])
    whole = make_series(10_000)
    expected = np.concatenate([whole.value[:4096], whole.value[8192:]]).tobytes()
    with open_reader(session) as reader:
        assert reader.series(1).value.tobytes() == expected
        assert reader.lost == 4096
        assert np.concatenate([block.value for block in reader.blocks(1)]).tobytes() == expected
        assert reader.follow(1)[0].value.tobytes() == expected
        if name in SPAN_CHANGES:
            assert reader.overview(1, 0.0, 1100.0, 1).count.tolist() == [10_000 - 4096]
