"""A computer that was suspended while recording: its clock stood still, and the session knows how long."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Protocol

import pytest

from meterlog.analysis import analyze
from meterlog.capture import Notice, Recorder, meter_setup
from meterlog.capture.suspension import suspended_s
from meterlog.session import SessionWriter, add_marker, open_reader
from meterlog.session.contents import Contents
from tests.waiting import until

HOUR_S = 3600.0


class Plugged(Protocol):
    """A meter on a pseudo-terminal: see tests/conftest.py."""

    port: Path

    def show(self, value: float) -> None: ...


def show(meter: Plugged, recorder: Recorder, times: int) -> None:
    """Have the meter show something, each time until it has been read."""
    for _ in range(times):
        before = sum(channel.count for channel in recorder.channels.values())
        meter.show(12.4)
        until(lambda before=before: sum(channel.count for channel in recorder.channels.values()) > before)  # type: ignore[misc]


def test_a_suspension_is_a_gap_with_its_cause_and_later_times_count_it_in(
    meter: Plugged, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path, asleep_s, told = tmp_path / "a.sqlite", [5.0], list[Notice]()
    writer = SessionWriter.create(path)
    monkeypatch.setattr("meterlog.capture.suspension.suspended_s", lambda: asleep_s[0])  # no test suspends a computer
    recorder = Recorder([meter_setup(f"status14:{meter.port}")], writer, observer=told.append)
    recorder.start()
    show(meter, recorder, 8)
    asleep_s[0] += HOUR_S
    show(meter, recorder, 8)
    recorder.mark("wiggle")
    writer.flush()
    add_marker(path, "crank")  # by another program
    assert recorder.finish().error is None
    with open_reader(path) as reader:
        time_s = reader.series(1).time_s
        assert time_s[8] - time_s[7] == pytest.approx(HOUR_S, abs=10)
        assert sorted(time_s) == list(time_s)
        assert [marker.time_s >= time_s[-1] for marker in reader.markers] == [True, True]
        assert [marker.time_s == pytest.approx(HOUR_S, abs=20) for marker in reader.markers] == [True, True]
        causes = [(change.up, change.cause) for change in reader.link_changes]
        assert (False, "this computer was suspended") in causes
        assert (True, "it woke after 3600 s") in causes
        assert [event.kind for event in analyze(Contents.of(reader)).events] == ["gap"]
    assert [notice.text for notice in told if "suspended for 3600 s" in notice.text]


def test_nothing_is_said_of_a_computer_that_was_awake(meter: Plugged, tmp_path: Path) -> None:
    before_s = suspended_s()
    recorder = Recorder([meter_setup(f"status14:{meter.port}")], SessionWriter.create(tmp_path / "a.sqlite"))
    recorder.start()
    show(meter, recorder, 3)
    recorder.finish()
    assert suspended_s() == pytest.approx(before_s, abs=0.5)
    assert before_s > -0.5 if sys.platform in ("linux", "darwin") else before_s == 0
    with open_reader(tmp_path / "a.sqlite") as reader:
        assert [change.up for change in reader.link_changes] == [True]
