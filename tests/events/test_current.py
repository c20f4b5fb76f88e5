"""Currents: what interrupts them, primes that begin with an inrush, and what is neither."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from meterlog.events.detect import detect, examine
from meterlog.events.event import Event
from meterlog.events.settings import DetectionSettings
from meterlog.reading import Quantity
from meterlog.series import Series
from meterlog.session.model import Channel
from tests.events.conftest import Found, Log, Steps

AMPERES = Quantity.DC_CURRENT


@pytest.fixture
def amps(found: Found) -> Found:
    """Return what is found in a current of (level, seconds) steps."""

    def find(steps: Steps, **meter: float) -> list[Event]:
        return found(steps, quantity=AMPERES, label="pump current", **meter)

    return find


def kinds(events: list[Event]) -> list[str]:
    return [event.kind for event in events]


def of_values(value: NDArray[np.float64], interval_s: float = 0.25) -> list[Event]:
    return detect(Channel(1, "pump current", AMPERES), series_of(value, interval_s))


def series_of(value: NDArray[np.float64], interval_s: float = 0.25) -> Series:
    n = len(value)
    times = interval_s * np.arange(1, n + 1, dtype=np.float64)
    return Series(times, np.round(value, 2), np.full(n, 0.01, np.float32), np.zeros(n, np.uint16))


@pytest.mark.parametrize("sign", [1.0, -1.0])
@pytest.mark.parametrize(("on_a", "off_a"), [(4.8, 0.0), (4.8, 0.4), (0.4, 0.0), (80.0, 0.5)])
def test_a_current_that_falls_to_a_tenth_and_returns_is_interrupted(
    amps: Found, sign: float, on_a: float, off_a: float
) -> None:
    (event,) = amps([(sign * on_a, 20), (sign * off_a, 2), (sign * on_a, 10)])
    assert event.kind == "interruption"
    assert event.duration_s is not None
    assert event.duration_error_s is not None
    assert abs(event.duration_s - 2.0) <= event.duration_error_s <= 0.25
    assert event.reference == pytest.approx(on_a)
    assert event.level == pytest.approx(off_a, abs=0.01)
    assert event.extreme == pytest.approx(off_a, abs=0.01)
    assert event.detail.startswith(f"fell from {on_a:.2f} to {off_a:.2f} A for 2.0")


@pytest.mark.parametrize(
    "steps",
    [
        [(4.8, 20), (0.6, 2), (4.8, 10)],  # an eighth still flows
        [(4.8, 20), (0, 40)],  # off and never back
        [(4.8, 20), (0, 40), (4.8, 10)],  # off for so long: switched
        [(3.0, 40), (0.4, 60), (0.02, 60), (0.5, 3), (0.02, 60)],  # control units that fall asleep
        [(-12.0, 20), (0.1, 1), (30.0, 20)],  # a battery that was discharged and is charged now
        [(0.08, 20), (0, 2), (0.08, 10)],  # no more than a clamp's zero strays
    ],
)
def test_what_is_no_interruption(amps: Found, steps: Steps) -> None:
    assert "interruption" not in kinds(amps(steps))


def test_it_is_measured_against_what_flowed_last(amps: Found) -> None:
    """One of two lamps goes off, then the other is interrupted; it comes back to less than before."""
    (event,) = amps([(9.0, 20), (4.0, 20), (0.0, 3), (1.9, 20)])
    assert event.kind == "interruption"
    assert event.reference == pytest.approx(4.0)


def test_an_interruption_after_a_pulse_on_top_of_another_load(amps: Found) -> None:
    found = amps([(3.0, 20), (7.5, 2), (3.0, 20), (0.0, 2), (3.0, 10)])
    assert kinds(found) == ["prime_pulse", "interruption"]
    assert [event.level for event in found] == [pytest.approx(7.5), pytest.approx(0.0)]


def test_between_two_primes_the_current_is_not_interrupted(amps: Found) -> None:
    assert kinds(amps([(0, 5), (4.1, 2), (0, 6), (4.1, 2), (0, 6)])) == ["prime_pulse", "prime_pulse"]
    assert kinds(amps([(0, 5), (4.1, 2), (0, 0.6), (4.1, 2), (0, 6)])) == ["prime_pulse", "interruption"]


@pytest.mark.parametrize("sign", [1.0, -1.0])
@pytest.mark.parametrize("interval_s", [0.05, 0.2, 0.33, 0.5])
def test_an_inrush_does_not_hide_the_prime(amps: Found, interval_s: float, sign: float) -> None:
    """11.7 A for an instant, then 4.1 A."""
    decay = [(sign * (4.1 + 7.6 * share), 0.05) for share in (1.0, 0.7, 0.4, 0.2, 0.1)]
    (event,) = amps([(0, 5), *decay, (sign * 4.1, 1.85), (0, 6)], interval_s=interval_s)
    assert event.kind == "prime_pulse"
    assert event.level == pytest.approx(4.1, abs=0.25)
    assert event.duration_s is not None
    assert event.duration_error_s is not None
    assert abs(event.duration_s - 2.1) <= event.duration_error_s
    assert ("with a peak of" if interval_s < 0.1 else "overshoot") in event.detail


def test_a_clamp_that_strays_about_nothing_finds_nothing() -> None:
    rng = np.random.default_rng(5)
    drifting = np.linspace(-0.4, 0.4, 4000) + rng.normal(0.0, 0.05, 4000)
    assert of_values(drifting) == []


def test_a_battery_that_floats_about_nothing_is_not_interrupted() -> None:
    """Charged and discharged by turns, with a ripple through nothing."""
    rng = np.random.default_rng(6)
    turns = 6.0 * np.sin(np.arange(4000) / 40.0) + rng.normal(0.0, 0.3, 4000)
    ripple = 5.0 * np.sin(np.arange(4000) * 1.7)
    assert "interruption" not in kinds(of_values(turns))
    assert "interruption" not in kinds(of_values(ripple))


def test_a_load_driven_by_slow_pulses_is_told_as_what_it_reads() -> None:
    """Never 'nothing was seen' of a current that reads nothing again and again."""
    rng = np.random.default_rng(7)
    found = of_values(np.where(rng.random(800) < 0.7, 6.0, 0.0))
    assert "interruption" in kinds(found)


@pytest.mark.parametrize(("steps", "on_s"), [([(4.8, 20), (0, 10), (4.8, 10)], 30.0), ([(0, 20), (0.02, 20)], 0.0)])
def test_how_long_a_current_flowed_is_known(log: Log, steps: Steps, on_s: float) -> None:
    watch = examine(Channel(1, "pump current", AMPERES), log(steps)).watch
    assert watch.on_s == pytest.approx(on_s, abs=11.0 if on_s else 0.0)
    assert watch.faults == ("interruption",)


def test_thresholds_can_be_set(found: Found) -> None:
    steps = [(4.8, 20), (0.6, 2), (4.8, 10)]
    told = found(steps, quantity=AMPERES, settings=DetectionSettings(interruption_share=0.2))
    assert kinds(told) == ["interruption"]
    with pytest.raises(ValueError, match="interruption_share"):
        DetectionSettings(interruption_share=0.6)


@pytest.mark.parametrize(("start_s", "end_s"), [(20.2, 26.0), (15.0, 20.2), (20.2, 45.0)])
def test_one_reading_of_0_a_beside_missing_readings_counts(log: Log, start_s: float, end_s: float) -> None:
    series = log([(4.8, 20), (0, 0.5), (4.8, 60)], window=0.0)
    series = series[(series.time_s <= start_s) | (series.time_s >= end_s)]
    assert np.count_nonzero(series.value < 1.0) == 1
    (event,) = [e for e in detect(Channel(1, "pump current", AMPERES), series) if e.kind == "interruption"]
    assert event.duration_s is not None
    assert event.duration_error_s is not None
    assert abs(event.duration_s - 0.5) <= event.duration_error_s


def test_nothing_is_invented_across_a_long_break(log: Log) -> None:
    series = log([(4.8, 20), (0, 10), (4.8, 60)])
    series = series[(series.time_s <= 18.0) | (series.time_s >= 60.0)]
    assert kinds(detect(Channel(1, "pump current", AMPERES), series)) == ["gap"]


def test_a_draw_that_falls_asleep_to_just_a_tenth_is_not_interrupted(amps: Found) -> None:
    """It wavers about the tenth there; and what is left can be interrupted in its turn."""
    wavering = [(0.38 + 0.01 * (k % 3 - 1), 0.5) for k in range(160)]
    found = amps([(3.79, 60), *wavering, (0.0, 2), (0.38, 20)])
    assert kinds(found) == ["interruption"]
    assert found[0].reference == pytest.approx(0.38, abs=0.02)
