"""A verdict is 'cannot tell' whenever the error straddles the limit."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from meterlog.findings.judgement import judge
from meterlog.text.figures import seconds, shown

numbers = st.floats(-100, 100)


@given(numbers, st.floats(0, 50), numbers, st.floats(0, 10), st.floats(-1, 1), st.floats(0, 1))
def test_no_value_within_the_errors_contradicts_a_verdict(
    value: float, error: float, limit: float, blur: float, at: float, where: float
) -> None:
    high = (limit, limit + blur)
    verdict = judge(value, error, high=high).verdict
    true_value, true_limit = value + at * error, limit + where * blur
    if verdict == "within":
        assert true_value <= true_limit + 1e-9
    elif verdict == "outside":
        assert true_value >= true_limit - 1e-9


@given(numbers, st.floats(0, 50), numbers)
def test_a_straddled_limit_cannot_be_told(value: float, error: float, limit: float) -> None:
    straddled = value - error <= limit <= value + error
    for verdict in (judge(value, error, low=(limit, limit)), judge(value, error, high=(limit, limit))):
        if straddled and abs(abs(value - limit) - error) > 1e-9:
            assert verdict.verdict == "cannot tell"


def test_the_nearer_limit_gives_the_margin_and_outside_decides() -> None:
    assert judge(13.0, 0.1, low=(12.0, 12.0), high=(15.0, 15.0)) == ("within", 1.0, 0.1)
    assert judge(15.5, 0.1, low=(12.0, 12.0), high=(15.0, 15.0)) == ("outside", -0.5, 0.1)
    assert judge(12.05, 0.1, low=(12.0, 12.0), high=(15.0, 15.0)).verdict == "cannot tell"


@pytest.mark.parametrize(
    ("value", "unit", "error", "words"),
    [
        (12.3149, "V", 0.0812, "12.31 V +-0.09"),
        (0.0321, "A", 0.0012, "32.1 mA +-1.2"),
        (0.1, "ohm", 0.02, "0.100 ohm +-0.020"),
        (2.0, "s", 0.33, "2.0 s +-0.4"),
        (1234567.0, "ohm", None, "1.23 Mohm"),
        (0.0, "V", None, "0 V"),
        (50.0, "%", 20.0, "50 % +-20"),
        (-0.001, "V", 0.2, "0.00 V +-0.20"),
    ],
)
def test_figures_show_as_many_digits_as_their_error_allows(
    value: float, unit: str, error: float | None, words: str
) -> None:
    assert shown(value, unit, error) == words


def test_lengths_of_time_read_well() -> None:
    assert [seconds(s) for s in (0.336, 95.2, 725.0, 5400.0)] == ["0.34 s", "95 s", "12 min", "1 h 30 min"]
