"""Errors are combined so that they cover, and verdicts follow from them."""

from __future__ import annotations

import numpy as np
import pytest

from meterlog.comparing.combine import Figure, combined, measured, same
from meterlog.signal.tolerance import normal_factor


@pytest.mark.parametrize("halves", [(1.0,), (1.0, 1.0), (1.0, 0.3), (1.0, 0.05), (1.0, 1.0, 1.0), (1.0, 0.5, 0.2, 0.1)])
def test_the_combined_error_covers_at_least_95_of_100(halves: tuple[float, ...]) -> None:
    rng = np.random.default_rng(5)
    total = sum(rng.uniform(-half, half, 200_000) for half in halves)
    covered = float(np.mean(np.abs(total) <= combined(*halves)))
    assert covered >= 0.95
    assert combined(*halves) <= sum(halves)


@pytest.mark.parametrize(
    ("difference", "uncertainty", "tolerance", "verdict"),
    [
        (0.2, 0.1, 1.0, "different"),
        (0.05, 0.1, 0.5, "same within error"),
        (0.05, 0.6, 0.5, "cannot tell"),
        (-0.2, 0.1, 1.0, "different"),
    ],
)
def test_a_verdict_follows_from_the_error(
    difference: float, uncertainty: float, tolerance: float, verdict: str
) -> None:
    assert same(difference, uncertainty, tolerance) == verdict


def test_several_known_good_give_their_median_and_at_least_their_spread() -> None:
    row = measured(
        "level", None, "V", [Figure(12.0, 0.1), Figure(12.2, 0.1), Figure(12.9, 0.1)], Figure(12.2, 0.1), 1.0
    )
    assert row is not None
    assert row.good == 12.2
    assert row.good_error == pytest.approx(0.7)


def test_a_figure_that_one_side_lacks_cannot_be_told() -> None:
    row = measured("droop", None, "V", [], Figure(0.1, 0.1), 1.0)
    assert row is not None
    assert (row.verdict, row.good, row.difference) == ("cannot tell", None, None)
    assert measured("droop", None, "V", [], None, 1.0) is None


def _many(count: int) -> list[Figure]:
    values = np.random.default_rng(5).normal(12.0, 0.1, count)
    return [Figure(float(value), 0.02) for value in values]


def test_of_many_known_good_the_suspect_is_held_against_what_is_normal() -> None:
    good = _many(43)
    values = [figure.value for figure in good]
    inside = measured("level", None, "V", good, Figure(12.15, 0.02), 0.6)
    below = measured("level", None, "V", good, Figure(11.5, 0.02), 0.6)
    assert inside is not None
    assert below is not None
    assert (inside.verdict, below.verdict) == ("same within error", "different")
    assert "by 43 known-good captures 95% of such lie from" in below.note
    assert "up to 5% of sound ones lie outside" in below.note
    reach = normal_factor(43) * float(np.std(values, ddof=1))
    assert below.good_error == pytest.approx(float(np.median(values)) - (float(np.mean(values)) - reach))


def test_one_known_good_that_is_none_is_named_and_does_not_hide_the_fault() -> None:
    good = [*_many(42), Figure(10.0, 0.02)]
    row = measured("level", None, "V", good, Figure(11.2, 0.02), 0.6)
    assert row is not None
    assert row.verdict == "different"
    assert row.note.startswith("by 42 known-good captures")
    assert row.note.endswith("left out as odd: 10 V")


def test_one_count_of_the_display_is_nothing_odd() -> None:
    row = measured("level", None, "V", [*[Figure(12.05, 0.08)] * 30, Figure(12.06, 0.08)], Figure(12.0, 0.08), 0.6)
    assert row is not None
    assert "odd" not in row.note
    assert row.good_error == 0.08


def test_nine_known_good_are_no_statistics() -> None:
    row = measured("level", None, "V", _many(9), Figure(11.5, 0.02), 0.6)
    assert row is not None
    assert row.note == ""
