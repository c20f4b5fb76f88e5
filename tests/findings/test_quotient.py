"""Checks what lies between the bounds of a drop divided by a current."""

from __future__ import annotations

import math

import numpy as np
import pytest

from meterlog.findings.quotient import quotient
from meterlog.reading import Accuracy, Quantity
from tests.findings.conftest import Bench


@pytest.mark.parametrize(("amperes", "amperes_error"), [(0.4, 0.35), (5.0, 0.05), (1.0, 0.9)])
@pytest.mark.parametrize("volts", [0.02, 0.5])
def test_the_bounds_cover_the_truth(amperes: float, amperes_error: float, volts: float) -> None:
    """To first order they covered 73 % of what 0.4 A +-0.35 and a drop can be: errors anywhere, as meters' are."""
    rng = np.random.default_rng(1)
    n, volts_error = 20_000, 0.03
    shown_v = volts + rng.uniform(-volts_error, volts_error, n)
    shown_a = amperes + rng.uniform(-amperes_error, amperes_error, n)
    truth = volts / amperes
    found = [quotient(v, volts_error, a, amperes_error) for v, a in zip(shown_v, shown_a, strict=True) if a > 0.0]
    covered = sum(q.low <= truth <= q.high for q in found)
    assert covered == len(found)
    first_order = [v / a + np.array([-1.0, 1.0]) * (volts_error / a + v * amperes_error / a**2)
                   for v, a in zip(shown_v, shown_a, strict=True) if a > 0.0]  # fmt: skip
    assert sum(low <= truth <= high for low, high in first_order) < len(found) or amperes_error < 0.1


def test_the_bounds_are_no_wider_than_they_must_be() -> None:
    found = quotient(0.5, 0.01, 5.0, 0.05)
    assert (found.low, found.high) == (0.49 / 5.05, 0.51 / 4.95)
    assert found.said("ohm") == "0.100 ohm +-0.004"


def test_uneven_bounds_are_said_as_they_are() -> None:
    assert quotient(0.1, 0.01, 0.4, 0.35).said("ohm") == "0.25 ohm (0.12 ohm to 2.2 ohm)"
    assert quotient(-0.1, 0.2, 0.4, 0.35).low == pytest.approx(-6.0)


def test_a_current_that_can_be_nothing_bounds_nothing() -> None:
    assert quotient(0.1, 0.01, 0.4, 0.4)[1:] == (-math.inf, math.inf)


@pytest.mark.parametrize(("amperes", "said"), [(0.4, "ohm to"), (5.0, "+-")])
def test_a_resistance_from_a_small_current_is_stated_with_its_bounds(bench: Bench, amperes: float, said: str) -> None:
    bench.channel("pump ground drop", 0.1, resolution=0.001)
    clamp = Accuracy(0.02, 34.0)
    bench.channel("pump current", amperes, quantity=Quantity.DC_CURRENT, accuracy=clamp, resolution=0.01)
    assert said in bench.judge("is a resistance of").text.partition("is a resistance of")[2]
