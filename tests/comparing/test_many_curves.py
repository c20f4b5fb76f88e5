"""Another sound curve leaves the band of many as seldom as is said, and an odd one does not widen it."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from meterlog.comparing import compare_captures
from meterlog.comparing.comparison_text import as_text, headline
from meterlog.comparing.many_curves import many_curves
from meterlog.loaded import Loaded
from meterlog.reading import Quantity
from meterlog.series import Series
from meterlog.session.model import Channel

MOMENTS = 25
ERROR = np.full(MOMENTS, 0.01)

Array = NDArray[np.float64]
Draw = Callable[[np.random.Generator, int], Array]


def even(random: np.random.Generator, n: int) -> Array:
    """Curves of a supply whose level and slope differ from vehicle to vehicle, with noise."""
    slope = np.linspace(0.0, 1.0, MOMENTS)
    one = 12.3 + random.normal(0, 0.1, (n, 1)) + random.normal(0, 0.15, (n, 1)) * slope
    return np.asarray(one + random.normal(0, 0.02, (n, MOMENTS)))


def skewed(random: np.random.Generator, n: int) -> Array:
    """The same, of which some are much lower."""
    return np.asarray(even(random, n) - random.lognormal(-3.0, 0.6, (n, 1)))


@pytest.mark.parametrize("draw", [even, skewed])
@pytest.mark.parametrize(("n", "samples"), [(10, 100), (43, 25)])
def test_another_sound_curve_leaves_it_as_seldom_as_is_said(draw: Draw, n: int, samples: int) -> None:
    random, left, said = np.random.default_rng(n), [], []
    for _ in range(samples):
        curves = draw(random, n)
        found = many_curves(curves, curves, ERROR)
        if found is None:  # too few are left of ten where one is odd
            continue
        others = draw(random, 200)
        left.append(((others < found.low) | (others > found.high)).any(axis=1).mean())
        said.append(found.chance)
    assert len(left) >= 0.8 * samples
    assert 0.0 < np.mean(left) <= np.mean(said) + 0.01  # what 25 samples leave open


def test_an_odd_curve_is_named_and_widens_nothing() -> None:
    curves = even(np.random.default_rng(5), 20)
    without = many_curves(curves, curves, ERROR)
    curves = np.insert(curves, 7, curves.mean(axis=0), axis=0)
    curves[7, 10:13] = 9.0
    found = many_curves(curves, curves, ERROR)
    assert found is not None
    assert without is not None
    assert (without.odd, found.odd) == ((), (7,))
    np.testing.assert_array_equal(found.low, without.low)


def test_moments_that_some_did_not_see_count_by_the_others() -> None:
    curves = even(np.random.default_rng(6), 20)
    curves[3, :5] = np.nan
    curves[:, 20] = np.nan
    found = many_curves(curves, curves, ERROR)
    assert found is not None
    assert list(np.flatnonzero(np.isnan(found.high))) == [20]


def test_few_curves_and_overload_give_none() -> None:
    curves = even(np.random.default_rng(7), 20)
    assert many_curves(curves[:9], curves[:9], ERROR) is None
    curves[2, 2] = np.inf
    assert many_curves(curves, curves, ERROR) is None


def capture(name: str, vehicle: str, level: float, dip_v: float | None = None) -> Loaded:
    """A prime of two seconds, from a random moment on, as a meter reads it four times a second."""
    random = np.random.default_rng(list(name.encode()))
    time_s = random.uniform(0, 0.25) + np.arange(0.0, 9.0, 0.25)
    since_s = time_s[:, None] - 0.25 * (np.arange(20) + 0.5) / 20 - random.uniform(3.0, 4.0)
    on = np.where((since_s >= 1.0) & (since_s < 1.4), level if dip_v is None else dip_v, level)
    value = np.where((since_s >= 0) & (since_s < 2.0), on, 0.0).mean(axis=1) + random.normal(0, 0.005, len(time_s))
    series = Series(time_s, np.round(value, 2), np.full(len(value), 0.01, "f4"), np.zeros(len(value), "u2"))
    details = {"system_v": "12", "vehicle": vehicle}
    channel = Channel(1, "pump feed", Quantity.DC_VOLTAGE)
    return Loaded({1: series}, [channel], details=details, duration_s=9.0, path=Path(f"{name}.sqlite"))


def known_good(captures: int, vehicles: int) -> list[Loaded]:
    """Primes whose levels differ by 0.05 V from capture to capture."""
    levels = np.random.default_rng(8).normal(12.4, 0.05, captures)
    return [capture(f"good{n:02}", f"van {n % vehicles}", level) for n, level in enumerate(levels)]


def test_the_verdict_says_of_how_many_and_how_often_it_is_wrong() -> None:
    good = known_good(12, 12)
    found = compare_captures(good, capture("suspect", "van x", 11.0))
    (channel,) = found.channels
    chance = channel.false_alarm
    assert found.verdict == "different"
    assert chance == pytest.approx(0.05 * len(channel.measures) + 1 / 13)
    assert "The suspect is outside what 12 known-good captures show" in headline(found)
    assert f"this is said of up to {chance:.0%} of sound ones" in headline(found)
    few = compare_captures(good[:9], capture("suspect", "van x", 11.0))
    assert few.channels[0].false_alarm is None
    assert headline(few) == "The suspect differs from the known-good by more than the errors explain."


def test_sound_ones_are_called_different_no_more_often_than_is_said() -> None:
    random = np.random.default_rng(9)
    good = known_good(20, 20)
    found = [compare_captures(good, capture(f"s{n}", "", random.normal(12.4, 0.05))).channels[0] for n in range(8)]
    said = found[0].false_alarm
    assert said is not None
    assert np.mean([one.verdict == "different" for one in found]) <= said
    assert sum(bool(one.excursions) for one in found) <= 2  # of eight, each with 1 in 21: more in under 1 of 100


def test_a_dip_that_none_of_many_shows_is_an_excursion() -> None:
    found = compare_captures(known_good(12, 12), capture("suspect", "van x", 12.4, 9.0))
    (one,) = found.channels[0].excursions
    assert one.value == pytest.approx(9.0, abs=1.5)


def test_a_known_good_with_a_dip_is_named_and_hides_no_dip() -> None:
    good = [*known_good(14, 14), capture("dipped", "van y", 12.4, 9.0)]
    found = compare_captures(good, capture("suspect", "van x", 12.4, 9.0))
    assert found.channels[0].excursions
    assert "left out of the band as odd: dipped.sqlite" in as_text(found)


def test_many_captures_of_one_vehicle_are_not_many_vehicles() -> None:
    suspect = capture("suspect", "van x", 12.4)
    (some,) = compare_captures(known_good(12, 3), suspect).channels
    assert "12 captures of 3 vehicles show what is normal on these alone" in some.notes
    (many,) = compare_captures(known_good(14, 11), suspect).channels
    assert len(many.good_channels) == 11
    assert "of 14 captures the newest of each of 11 vehicles counts" in many.notes
    assert {one.good for one in many.alignment} == {f"good{n:02}.sqlite" for n in range(3, 14)}
