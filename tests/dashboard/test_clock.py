"""Axes have no zones: local time, the zone's name, and a session across a change of the clocks."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone
from zoneinfo import ZoneInfo

import pytest

from meterlog_dashboard.review.clock import Clock

BERLIN = ZoneInfo("Europe/Berlin")


def test_the_axis_shows_the_time_that_a_clock_on_the_wall_showed() -> None:
    clock = Clock(datetime(2026, 3, 2, 9, 30, tzinfo=timezone(timedelta(hours=1))), 60.0, BERLIN)
    shown = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(milliseconds=float(clock.ms(90.5)))
    assert shown.strftime("%Y-%m-%d %H:%M:%S.%f") == "2026-03-02 09:31:30.500000"
    assert clock.zone == "CET (UTC+01:00)"
    assert clock.words(90.5) == "09:31:30.5"
    assert clock.change is None


@pytest.mark.parametrize("shown", ["2026-03-02 09:31:30.5", "2026-03-02 09:31:30.5000", 1772443890500.0])
def test_a_place_on_the_axis_comes_back_as_seconds(shown: str | float) -> None:
    clock = Clock(datetime(2026, 3, 2, 9, 30, tzinfo=timezone(timedelta(hours=1))), 60.0, BERLIN)
    assert clock.seconds(shown) == pytest.approx(90.5, abs=1e-3)


def test_across_a_change_of_the_clocks_time_runs_on_evenly_and_the_change_is_named() -> None:
    start = datetime(2026, 3, 28, 20, 0, tzinfo=timezone(timedelta(hours=1)))
    clock = Clock(start, 36_000.0, BERLIN)
    assert clock.change is not None
    at_s, words = clock.change
    assert at_s == 6 * 3600.0
    assert "at 2026-03-29 02:00:00: from there on they showed 03:00:00" in words
    steps = clock.ms([at_s - 1, at_s, at_s + 1])
    assert list(steps[1:] - steps[:-1]) == [1000.0, 1000.0]


def test_a_session_from_another_zone_keeps_its_own_time() -> None:
    clock = Clock(datetime(2026, 7, 1, 8, 0, tzinfo=timezone(timedelta(hours=-5, minutes=-30))), 1e6, BERLIN)
    assert clock.zone == "UTC-05:30"
    assert clock.change is None
    assert clock.words(0.0) == "08:00:00.0"
