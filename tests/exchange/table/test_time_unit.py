"""Checks that what numbers in a time column count is taken from what states it, else asked."""

from __future__ import annotations

import pytest

from meterlog.exchange.table.question import Question
from meterlog.exchange.table.time_unit import number_kind


@pytest.mark.parametrize(
    ("title", "first", "unit", "scale"),
    [
        ("Time (ms)", 1000.0, "ms", 1e-3),
        ("t/ms", 1000.0, "ms", 1e-3),
        ("time_s", 0.0, "s", 1.0),
        ("millis", 5000.0, "ms", 1e-3),
        ("ms_today", 36_000_000.0, "ms", 1e-3),
        ("timeMs", 12.0, "ms", 1e-3),
        ("Elapsed seconds", 0.0, "s", 1.0),
        ("Time (sec)", 0.0, "sec", 1.0),
        ("micros", 100.0, "us", 1e-6),
        ("Zeit in Minuten", 1.0, "min", 60.0),
        ("timestamp", 1_700_000_000.0, "seconds", 1.0),
        ("timestamp", 1_700_000_000_250.0, "milliseconds", 1e-3),
    ],
)
def test_a_header_or_an_epoch_states_the_unit(title: str, first: float, unit: str, scale: float) -> None:
    kind = number_kind([first, first + 1, first + 2], True, title, None)
    assert (kind.unit, kind.scale) == (unit, scale)
    assert kind.daily == (title == "ms_today")


@pytest.mark.parametrize(
    ("title", "numbers", "whole", "words"),
    [
        ("time", (0.0, 100.0, 200.0), True, "--time-unit ms or --time-unit s"),
        ("time", (0.0, 1.0, 2.0), True, "--interval S"),
        ("time", (0.5, 100.5, 200.5), False, "--time-unit ms"),
        ("sample", (0.0, 1.0, 2.0), True, "--interval S, else its unit"),
        ("time", (45585.25, 45585.26, 45585.27), False, "--time-unit serial"),
        ("column 1", (5e10, 5.1e10), True, "--time-unit"),
    ],
)
def test_what_nothing_states_is_asked(title: str, numbers: tuple[float, ...], whole: bool, words: str) -> None:
    with pytest.raises(Question, match=f"'{title}'.*{words}"):
        number_kind(numbers, whole, title, None)


def test_numbers_with_decimals_in_small_steps_are_seconds() -> None:
    assert number_kind((0.0, 0.5, 1.0), False, "time", None).scale == 1.0


def test_a_spreadsheets_days_count_from_1899() -> None:
    from meterlog.exchange.table.time_text import NumberTime

    kind = number_kind((45585.25,), False, "time", "serial")
    assert NumberTime(".", kind).one("45585.25") == 1_729_404_000.0  # 20 October 2024, 06:00
