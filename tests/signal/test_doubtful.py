"""A doubtful reading counts only where the next reading confirms it."""

from __future__ import annotations

import numpy as np
import pytest

from meterlog.events.detect import detect
from meterlog.reading import Flag, Quantity
from meterlog.series import Series
from meterlog.session.model import Channel
from meterlog.signal.doubtful import believed, joined

DC = int(Flag.DC)
DOUBTFUL = int(Flag.DC | Flag.DOUBTFUL)


def series(*shown: tuple[float, int]) -> Series:
    """Readings a third of a second apart, of 10 mV a count."""
    n = len(shown)
    return Series(
        np.arange(n) / 3.0,
        np.array([value for value, _ in shown], np.float64),
        np.full(n, 0.01, np.float32),
        np.array([flags for _, flags in shown], np.uint16),
    )


@pytest.mark.parametrize(
    ("shown", "values"),
    [
        ([(12.3, DC), (92.3, DOUBTFUL), (12.3, DC)], [12.3, 12.3]),
        ([(12.3, DC), (14.3, DOUBTFUL), (14.31, DC)], [12.3, 14.3, 14.31]),
        ([(12.3, DC), (14.3, DOUBTFUL)], [12.3]),
        ([(12.3, DOUBTFUL), (12.3, DOUBTFUL)], []),
        ([(12.3, DOUBTFUL), (12.3, DC | int(Flag.HOLD))], [12.3]),
        ([(np.inf, DOUBTFUL | int(Flag.OVERLOAD)), (np.inf, DC | int(Flag.OVERLOAD))], [np.inf, np.inf]),
        ([(np.inf, DOUBTFUL | int(Flag.OVERLOAD)), (12.3, DC)], [12.3]),
        ([], []),
    ],
    ids=[
        "it returned", "it stayed", "nothing followed", "what confirms is doubtful", "another flag", "open", "not open",
        "no reading",
    ],
)  # fmt: skip
def test_only_what_the_next_reading_confirms_is_believed(shown: list[tuple[float, int]], values: list[float]) -> None:
    once = believed(series(*shown))
    assert list(once.value) == values
    assert list(believed(once).value) == values


def test_two_series_are_one_behind_the_other() -> None:
    whole = series((1.0, DC), (2.0, DOUBTFUL), (3.0, DC))
    both = joined(whole[:1], whole[1:])
    assert list(both.value) == [1.0, 2.0, 3.0]
    assert list(both.flags) == [DC, DOUBTFUL, DC]


@pytest.mark.parametrize("odd", [92.3, 1380.0, 0.0])
def test_a_doubtful_reading_alone_makes_no_event(odd: float) -> None:
    channel = Channel(1, "feed", Quantity.DC_VOLTAGE)
    calm = [(12.3, DC)] * 40
    assert detect(channel, series(*calm, (odd, DOUBTFUL), *calm)) == []
    assert detect(channel, series(*calm, (odd, DC), *calm)) != []
