"""Markers from outside: into a running session at the present moment, into a finished one where told."""

from __future__ import annotations

import time
from pathlib import Path

import pytest

from meterlog.errors import NotASession, UsageError
from meterlog.reading import Quantity, Reading
from meterlog.session import SessionWriter, add_marker, change_marker, open_reader, remove_marker


def test_a_marker_in_a_running_session_has_the_present_moment(tmp_path: Path) -> None:
    path = tmp_path / "a.sqlite"
    with SessionWriter.create(path, monotonic_start_s=time.monotonic() - 100.0) as writer:
        channel = writer.add_channel("feed", Quantity.DC_VOLTAGE)
        writer.flush()
        before_s = writer.elapsed_s
        marker = add_marker(path, "key-on")
        assert before_s <= marker.time_s <= writer.elapsed_s
        writer.append(channel, [Reading(time.monotonic(), 12.0, Quantity.DC_VOLTAGE)])
        writer.add_marker(100.5, "crank")
    with open_reader(path) as reader:
        assert [m.name for m in reader.markers] == ["key-on", "crank"]
        assert reader.count(channel) == 1


def test_a_finished_session_wants_a_time_inside_it(session: Path) -> None:
    with pytest.raises(UsageError, match="--at SECONDS"):
        add_marker(session, "crank")
    with pytest.raises(UsageError, match="outside"):
        add_marker(session, "crank", time_s=1e6)
    with pytest.raises(UsageError, match="wants a text"):
        add_marker(session, "  ", time_s=1.0)
    marker = add_marker(session, "wiggle at 'plug'; ü", "a note", 2.5)
    with open_reader(session) as reader:
        assert marker in reader.markers
    assert [file.name for file in session.parent.iterdir()] == [session.name]


def test_a_marker_can_be_changed_and_removed_and_its_number_is_not_used_again(session: Path) -> None:
    change_marker(session, 1, name="crank", time_s=3.0)
    change_marker(session, 2, note="right side")
    with open_reader(session) as reader:
        second, first = reader.markers
        assert (first.number, first.name, first.time_s) == (1, "crank", 3.0)
        assert (second.name, second.note) == ("wiggle at plug", "right side")
    remove_marker(session, 2)
    assert add_marker(session, "key-off", time_s=4.0).number == 3
    for number in (2, 99):
        with pytest.raises(UsageError, match=f"no marker {number}"):
            remove_marker(session, number)
    with pytest.raises(NotASession):
        remove_marker(session.with_name("absent.sqlite"), 1)


def test_a_time_that_no_session_has_and_bytes_that_are_no_text_are_refused(tmp_path: Path) -> None:
    path = tmp_path / "a.sqlite"
    with SessionWriter.create(path) as writer:
        channel = writer.add_channel("feed", Quantity.DC_VOLTAGE)
        writer.append(channel, [Reading(writer.monotonic_start_s, 1.0, Quantity.DC_VOLTAGE)])
        for time_s in (1e300, 1e10, float("nan"), float("inf"), -1.0):  # of a session that still grows
            with pytest.raises(UsageError, match="cannot lie at"):
                add_marker(path, "x", time_s=time_s)
        with pytest.raises(UsageError, match="no text in UTF-8"):
            writer.set_detail("vehicle", "van \udcff")
        with pytest.raises(UsageError, match="no text in UTF-8"):
            writer.add_marker(0.0, "\udcff")
        writer.add_marker(0.0, "kept")
    with pytest.raises(UsageError, match="cannot lie at"):
        change_marker(path, 1, time_s=float("inf"))
    with pytest.raises(UsageError, match="no text in UTF-8"):
        SessionWriter.create(tmp_path / "b.sqlite", details={"\udcff": ""})
    assert [file.name for file in tmp_path.iterdir()] == ["a.sqlite"]
    with open_reader(path) as reader:
        assert [(marker.name, marker.time_s) for marker in reader.markers] == [("kept", 0.0)]
