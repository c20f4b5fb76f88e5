"""Load dumps, spikes and failing regulators: judged by their readings, and without a trace in what is said after."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from meterlog.events.detect import detect
from meterlog.events.event import Event
from meterlog.reading import Quantity
from meterlog.series import Series
from meterlog.session.model import Channel
from meterlog_drivers.simulated.scenarios import SCENARIOS

Found = Callable[..., list[Event]]


def load_dump(peak: float, tau_s: float, interval_s: float, rest_s: float = 30.0) -> Series:
    """A charging supply at 13.64 V with one peak that decays."""
    time_s = np.arange(0.1, 2 * rest_s + 8 * tau_s, interval_s)
    since = np.maximum(time_s - rest_s, 0.0)
    value = 13.64 + np.where(time_s < rest_s, 0.0, (peak - 13.64) * np.exp(-since / tau_s))
    n = len(time_s)
    noise = np.random.default_rng(5).normal(0.0, 0.005, n)
    return Series(time_s, np.round(value + noise, 2), np.full(n, 0.01, np.float32), np.zeros(n, np.uint16))


@pytest.mark.parametrize("interval_s", [0.05, 0.1, 0.25])
@pytest.mark.parametrize("tau_s", [0.2, 0.5, 2.0])
@pytest.mark.parametrize("peak", [22.0, 25.0, 40.0])
def test_a_load_dump_is_an_overvoltage_however_it_decays_and_what_follows_is_no_sag(
    peak: float, tau_s: float, interval_s: float
) -> None:
    """Once: no event at 22 to 25 V, and then '13.64 V ... cranking' beside a reference taken from the peak."""
    (event,) = detect(Channel(1, "alternator B+", Quantity.DC_VOLTAGE), load_dump(peak, tau_s, interval_s))
    assert event.kind == "overvoltage"
    assert event.start_s == pytest.approx(30.0, abs=interval_s)
    assert event.duration_s is not None
    assert event.duration_error_s is not None
    above_s = tau_s * np.log((peak - 13.64) / (15.0 - 13.64))
    assert abs(event.duration_s - above_s) <= event.duration_error_s


@pytest.mark.parametrize("readings", [1, 2, 3, 6])
@pytest.mark.parametrize("before", [2, 3, 5, 9, 40])
@pytest.mark.parametrize("peak", [22.0, 25.0, 33.0])
def test_a_spike_never_becomes_the_reference(peak: float, before: int, readings: int) -> None:
    value = np.array([13.6] * before + [peak] * readings + [13.64] * 200)
    n = len(value)
    time_s = 0.1 + 0.25 * np.arange(n, dtype=np.float64)
    series = Series(time_s, value, np.full(n, 0.01, np.float32), np.zeros(n, np.uint16))
    events = detect(Channel(1, "alternator B+", Quantity.DC_VOLTAGE), series)
    assert [event.kind for event in events] == ["overvoltage"]


def test_a_spike_in_the_first_readings_tells_no_24_v_system(found: Found) -> None:
    first, second = found([(24.0, 0.5), (13.6, 20), (16.0, 3), (13.6, 10)], window=0.0)
    assert (first.kind, second.kind) == ("overvoltage", "overvoltage")
    assert first.reference == second.reference == 15.0


@pytest.mark.parametrize("seed", [720_003, 720_008])
def test_a_slow_rise_after_a_crank_is_found(seed: int) -> None:
    """Sixteen seconds at 15.6 V are no graze, however much the crank before them stirred."""
    run = SCENARIOS["overcharging"].run(seed, interval_s=0.1)
    found = detect(Channel(1, "battery", run.quantity(0), interval_s=0.1), run.readings[0], run.markers)
    assert "overvoltage" in [event.kind for event in found]
