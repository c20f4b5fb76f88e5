"""Errors are combined so that they cover, and verdicts follow from them."""

from __future__ import annotations

import numpy as np
import pytest

from meterlog.comparing.combine import Figure, combined, measured, same


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
