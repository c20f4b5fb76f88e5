"""A single reading of a current or a drop, far from both its neighbours, is named and judged by nobody."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray

from meterlog.findings.lone_reading import lone
from meterlog.reading import Quantity
from tests.findings.conftest import Bench

Array = NDArray[np.float64]


def at_ten(level: float, wrong: float) -> Callable[[Array], Array]:
    return lambda t: np.where(t == 10.0, wrong, level)


@pytest.mark.parametrize(
    ("label", "quantity", "level", "wrong", "shown"),
    [
        ("pump feed", Quantity.DC_CURRENT, 5.0, 400.0, "400.00 A at 0:10.00, beside 5.00 A"),
        ("pump feed", Quantity.DC_CURRENT, 0.0, 13.0, "13.00 A at 0:10.00, beside 0.00 A"),
        ("pump feed", Quantity.DC_CURRENT, -5.0, 5.0, "5.00 A at 0:10.00, beside -5.00 A"),
        ("ground drop", Quantity.DC_VOLTAGE, 0.1, 9.1, "9.10 V at 0:10.00, beside 0.10 V"),
    ],
)
def test_one_reading_far_from_its_neighbours_is_named(
    bench: Bench, label: str, quantity: Quantity, level: float, wrong: float, shown: str
) -> None:
    bench.channel(label, at_ten(level, wrong), quantity=quantity)
    found = bench.judge("far from both neighbours")
    assert f"1 reading far from both neighbours: {shown}." in found.text
    assert found.verdict == "cannot tell"
    assert "What decides" in found.text


@pytest.mark.parametrize(
    "value",
    [
        at_ten(5.0, 0.0),  # an interruption is an event
        at_ten(5.0, 8.0),
        at_ten(0.02, 1.0),  # too small to matter
        lambda t: np.where(t < 10.0, 0.0, np.where(t == 10.0, 20.0, 6.0)),  # an inrush
        lambda t: np.where((t >= 10.0) & (t < 10.5), 20.0, 5.0),  # two readings
        lambda t: np.where(t % 2.0 == 0.0, 20.0, 5.0),  # what the circuit does
    ],
)
def test_what_a_circuit_does_is_not(bench: Bench, value: Callable[[Array], Array]) -> None:
    bench.channel("pump feed", value, quantity=Quantity.DC_CURRENT)
    assert not [f for f in bench.all() if "far from both neighbours" in f.text]


@pytest.mark.parametrize("values", [[], [400.0], [5.0, 400.0], [np.inf, 400.0, np.inf], [5.0, np.inf, 5.0]])
def test_too_few_readings_and_overload_are_none(values: list[float]) -> None:
    assert not len(lone(np.array(values, np.float64), 2.0, 0.01))
