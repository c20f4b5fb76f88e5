"""Times are taken as a person types them, and as `analyze` shows them."""

from __future__ import annotations

import argparse

import pytest

from meterlog.text.times import from_start, moment, span


@pytest.mark.parametrize(
    ("text", "seconds"),
    [("30", 30.0), ("0.5", 0.5), ("20 s", 20.0), ("90min", 5400.0), ("8h", 28800.0), ("1.5h", 5400.0)],
)
def test_a_span(text: str, seconds: float) -> None:
    assert span(text) == seconds


@pytest.mark.parametrize("text", ["", "-1", "nan", "inf", "2 hours", "1e9", "1:30"])
def test_no_span(text: str) -> None:
    with pytest.raises(argparse.ArgumentTypeError, match="must be a number of seconds"):
        span(text)


@pytest.mark.parametrize(
    ("text", "seconds"),
    [
        ("65.8", 65.8),
        ("65,8", 65.8),
        ("1:05,8", 65.8),
        ("1:05.8", 65.8),
        ("0:00.08", 0.08),
        ("1:01:05.8", 3665.8),
        ("-1", -1.0),
    ],
)
def test_a_moment(text: str, seconds: float) -> None:
    assert moment(text) == pytest.approx(seconds)


@pytest.mark.parametrize("text", ["", "now", "1:5", "nan", "1:2:3:04"])
def test_no_moment(text: str) -> None:
    with pytest.raises(argparse.ArgumentTypeError, match="wants seconds from the session's start"):
        moment(text)


@pytest.mark.parametrize(("time_s", "hours", "text"), [
    (65.8, False, "1:05.80"),
    (59.996, False, "1:00.00"),
    (3665.84, True, "1:01:05.8"),
    (65.8, True, "0:01:05.8"),
    (3599.97, True, "1:00:00.0"),
    (360_000.0, True, "100:00:00.0"),
    (-3.2, False, "-0:03.20"),
    (-3723.4, True, "-1:02:03.4"),
])  # fmt: skip
def test_a_moment_of_a_session_reads_as_a_clock_does(time_s: float, hours: bool, text: str) -> None:
    """A marker 3.2 s before the first reading was said to be at -1:56.80."""
    assert from_start(time_s, hours=hours) == text
