"""Checks a test lamp: its words, its filament's resistance, and that an LED lamp loads nothing."""

import numpy as np
import pytest

from meterlog.circuit.model.bulb import BRIGHTNESS, EDGE_BLUR, Bulb


@pytest.mark.parametrize(("word", "share"), BRIGHTNESS.items())
def test_a_word_stands_for_the_range_around_its_middle(word: str, share: float) -> None:
    low, high = Bulb(5.0).range(share)
    assert low <= share < high
    assert Bulb(5.0).word(share) == word


def test_two_words_are_said_as_a_span() -> None:
    assert Bulb().words(0.1, 0.5) == "dark to dim"
    assert Bulb().words(0.9, 1.1) == "bright"
    assert Bulb(0.0).word(0.55) == "bright", "an LED lamp lights at a fraction of its voltage"


def test_a_filament_is_as_hot_as_its_voltage() -> None:
    lamp = Bulb(5.0)
    behind = np.array([0.0, 30.0, 100.0, 1e6])  # ohm in series, 12 V before it
    ohm = lamp.settled_ohm(12.0, lambda r: 12.0 * r / (r + behind))
    share = ohm / (ohm + behind)
    assert ohm[0] == pytest.approx(12**2 / 5)
    assert ohm[:3] == pytest.approx(28.8 * share[:3] ** 0.45, rel=0.02)
    assert ohm[3] == pytest.approx(2.88), "cold: a tenth of the hot one's"
    assert np.all(np.diff(ohm) < 0)


def test_a_joint_that_a_meter_does_not_see_makes_the_lamp_dark_and_leaves_an_led_lit() -> None:
    ohm = Bulb(5.0).settled_ohm(12.0, lambda r: 12.0 * r / (r + 200.0))
    assert Bulb(5.0).word(float(ohm / (ohm + 200.0))) == "dark"
    led = Bulb(0.0).settled_ohm(12.0, lambda r: r)
    assert Bulb(0.0).word(float(led / (led + 200.0))) == "bright"


def test_a_lamp_of_a_24_v_vehicle_is_rated_for_it() -> None:
    assert Bulb(5.0).hot_ohm(24.0) == pytest.approx(115.2)


def test_at_an_edge_either_word_is_as_likely() -> None:
    lamp, edge = Bulb(5.0), 0.85
    _, dim_to = lamp.surely(0.62)
    bright_from, _ = lamp.surely(1.0)
    assert edge - dim_to == pytest.approx(bright_from - edge)
    assert np.exp(-0.5 * ((edge - dim_to) / EDGE_BLUR) ** 2) == pytest.approx(0.5, abs=0.01)
    for share in BRIGHTNESS.values():
        for bulb in (Bulb(5.0), Bulb(0.0)):
            low, high = bulb.surely(share)
            assert low <= high
