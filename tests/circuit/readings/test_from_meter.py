"""A measurement straight from a meter: the first steady level that is not nothing."""

import math

import pytest

from meterlog.circuit.readings.from_meter import agree, take
from meterlog.driver import Traffic
from meterlog.driver.steady import are_steady
from meterlog.errors import LinkLost, UsageError
from meterlog.reading import Accuracy, Quantity, Reading


class Listed:
    """A meter that shows the listed values and then ends."""

    name = "listed"

    def __init__(self, values: list[float], quantity: Quantity = Quantity.DC_VOLTAGE, *, dies: bool = False) -> None:
        self.left = [Reading(0.3 * k, value, quantity, 0.01) for k, value in enumerate(values)]
        self.dies = dies
        self.closed = False
        self.traffic = Traffic()

    def open(self) -> "Listed":
        return self

    def read(self, timeout_s: float) -> list[Reading] | None:
        assert timeout_s > 0
        if self.left:
            return [self.left.pop(0)]
        if self.dies:
            raise LinkLost("unplugged")
        return None

    def close(self) -> None:
        self.closed = True


def level(meter: Listed, quantity: str = "voltage") -> float:
    value, error = take(meter, quantity, accuracy=Accuracy())
    assert meter.closed
    assert error >= 0
    return value


def test_a_prime_is_caught_between_nothings() -> None:
    assert level(Listed([0.0, 0.0, 0.0, 6.1, 12.1, 12.1, 12.0, 0.0])) == pytest.approx(12.1)


def test_nothing_all_the_time_is_nothing() -> None:
    assert level(Listed([0.01] * 6)) == pytest.approx(0.01)


def test_open_is_open_only_when_nothing_else_came() -> None:
    ohm = Quantity.RESISTANCE
    assert level(Listed([math.inf, math.inf, math.inf, 0.5, 0.5, 0.5], ohm), "resistance") == pytest.approx(0.5)
    assert math.isinf(level(Listed([math.inf] * 5, ohm), "resistance"))


def test_the_wrong_dial_is_said() -> None:
    with pytest.raises(UsageError, match="turn its dial to DC voltage"):
        level(Listed([1.0] * 5, Quantity.RESISTANCE))


def test_a_meter_that_goes_away_is_said() -> None:
    with pytest.raises(UsageError, match="disconnected"):
        level(Listed([12.0], dies=True))


def test_nothing_steady_is_said() -> None:
    with pytest.raises(UsageError, match="no steady reading"):
        level(Listed([1.0, 9.0, 3.0, 12.0]))


@pytest.mark.parametrize(
    ("values", "resolution", "by_itself", "in_a_circuit"),
    [
        ((0.001, 0.021, 0.041), 0.001, False, True),  # millivolts, which decide nothing in a circuit
        ((0.2, 0.4, 0.3), 0.1, True, True),  # two counts of a coarse display
        ((12.3, 12.5, 12.6), 0.01, True, True),
        ((11.8, 12.3, 12.6), 0.01, False, False),
        ((math.inf, math.inf, math.inf), 0.01, True, True),
        ((math.inf, 0.5, 0.5), 0.01, False, False),
        ((12.5, 12.5), 0.01, False, False),
    ],
)
def test_one_rule_says_when_readings_are_steady(
    values: tuple[float, ...], resolution: float, by_itself: bool, in_a_circuit: bool
) -> None:
    recent = [Reading(0.3 * n, value, Quantity.DC_VOLTAGE, resolution) for n, value in enumerate(values)]
    assert are_steady(recent) is by_itself
    assert agree(recent) is in_a_circuit
