"""Checks that what the display shows at the last place is no reading of the next one."""

from __future__ import annotations

import math
from collections.abc import Sequence

import pytest

from meterlog.job.taking.leaving import LeavingProbes
from meterlog.reading import Quantity, Reading

VOLTS, OHMS = Quantity.DC_VOLTAGE, Quantity.RESISTANCE


def left_after(values: Sequence[float], quantity: Quantity = VOLTS, then: Quantity | None = None) -> int | None:
    probes = LeavingProbes()
    every = [(value, quantity) for value in values] + ([(0.0, then)] if then else [])
    for k, (value, shown) in enumerate(every):
        if probes.feed(Reading(0.5 * k, value, shown, 0.01)):
            return k
    return None


@pytest.mark.parametrize(
    ("values", "quantity", "left"),
    [
        ([12.4] * 20, VOLTS, None),
        ([12.4] * 10 + [0.0, 0.01, 0.0, 12.4], VOLTS, 12),
        ([12.4] * 10 + [0.0, 12.4, 0.0, 12.4], VOLTS, None),
        ([0.0] * 12, VOLTS, 6),  # nobody is quicker than 3 s
        ([0.4] * 10 + [math.inf] * 3, OHMS, 12),
    ],
)
def test_free_probes_show_nothing_for_a_while(values: list[float], quantity: Quantity, left: int | None) -> None:
    assert left_after(values, quantity) == left


def test_who_turns_the_dial_has_left() -> None:
    assert left_after([12.4] * 3, VOLTS, OHMS) == 3
