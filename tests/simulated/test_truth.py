"""Truth: the definitions of the kinds applied to signals whose events are plain to see."""

from __future__ import annotations

import math

import numpy as np
import pytest

from meterlog.events.event import Event
from meterlog.reading import Quantity
from meterlog.session.model import Marker
from meterlog_drivers.simulated.truth import true_events
from meterlog_drivers.simulated.van.vehicle import Signal

STEP_S = 0.5e-3


def drawn(duration_s: float, *steps: tuple[float, float], quantity: Quantity = Quantity.DC_VOLTAGE) -> Signal:
    value = np.zeros(round(duration_s / STEP_S))
    for begin, level in steps:
        value[round(begin / STEP_S) :] = level
    return Signal(quantity, STEP_S, value, np.zeros(len(value), dtype=bool))


def events(signal: Signal, *key_ons: float) -> list[Event]:
    markers = [Marker(n, t, "key-on") for n, t in enumerate(key_ons, 1)]
    return true_events(signal, 1, markers, supply=signal.quantity is Quantity.DC_VOLTAGE)


def kinds(found: list[Event]) -> list[tuple[str, float, float]]:
    return [(e.kind, round(e.start_s, 3), round(e.end_s, 3)) for e in found]


def test_a_pulse_out_of_idle_is_a_prime() -> None:
    found = events(drawn(8.0, (2.0, 12.0), (4.0, 0.0)), 2.0)
    assert kinds(found) == [("prime_pulse", 2.0, 4.0)]
    assert found[0].level == pytest.approx(12.0)


@pytest.mark.parametrize("length_s", [0.4, 10.5])
def test_too_short_or_too_long_is_none(length_s: float) -> None:
    found = events(drawn(15.0, (2.0, 12.0), (2.0 + length_s, 0.0)))
    assert "prime_pulse" not in [e.kind for e in found]


def test_no_pulse_within_three_seconds_of_the_key_is_a_missing_prime() -> None:
    assert kinds(events(drawn(8.0, (6.0, 12.0)), 2.0)) == [("missing_prime", 2.0, 2.0)]
    assert events(drawn(8.0, (4.9, 12.0)), 2.0) == []


def test_a_short_interruption_of_a_prime_is_a_dropout_inside_it() -> None:
    found = events(drawn(8.0, (2.0, 12.0), (3.0, 0.0), (3.4, 12.0), (5.0, 0.0)))
    assert kinds(found) == [("prime_pulse", 2.0, 5.0), ("dropout", 3.0, 3.4)]


def test_more_than_a_second_parts_two_pulses() -> None:
    found = events(drawn(9.0, (2.0, 12.0), (3.0, 0.0), (4.2, 12.0), (6.0, 0.0)))
    assert kinds(found) == [("prime_pulse", 2.0, 3.0), ("prime_pulse", 4.2, 6.0)]


def test_after_a_long_on_time_half_a_minute_is_still_a_dropout_and_more_is_a_loss() -> None:
    assert kinds(events(drawn(60.0, (2.0, 14.0), (15.0, 0.0), (40.0, 14.0)))) == [("dropout", 15.0, 40.0)]
    assert kinds(events(drawn(60.0, (2.0, 14.0), (15.0, 0.0), (46.0, 14.0)))) == [("supply_lost", 15.0, 15.0)]
    assert kinds(events(drawn(20.0, (2.0, 14.0), (15.0, 0.0)))) == [("supply_lost", 15.0, 15.0)]


def test_four_changes_close_together_are_chatter_and_hide_their_dropouts() -> None:
    signal = drawn(30.0, (2.0, 14.0), (15.0, 0.0), (15.3, 14.0), (15.6, 0.0), (15.9, 14.0), (20.0, 0.0), (20.5, 14.0))
    assert kinds(events(signal)) == [("chatter", 15.0, 15.9), ("dropout", 20.0, 20.5)]


def test_a_dip_to_seventy_percent_is_a_sag_and_one_to_half_a_dropout() -> None:
    signal = drawn(30.0, (2.0, 12.0), (15.0, 8.4), (16.5, 12.0), (20.0, 5.9), (21.0, 12.0))
    found = events(signal)
    assert kinds(found) == [("sag", 15.0, 16.5), ("dropout", 20.0, 21.0)]
    assert found[0].extreme == pytest.approx(8.4)
    assert found[0].reference == pytest.approx(12.0)


def test_over_fifteen_volts_is_overvoltage() -> None:
    assert kinds(events(drawn(20.0, (2.0, 14.0), (5.0, 15.4), (8.0, 14.0)))) == [("overvoltage", 5.0, 8.0)]


def test_an_open_after_contact_is_an_event_and_the_open_leads_before_are_not() -> None:
    signal = drawn(
        10.0, (0.0, math.inf), (2.0, 0.4), (4.0, math.inf), (5.5, 0.4), (9.0, math.inf), quantity=Quantity.RESISTANCE
    )
    assert kinds(events(signal)) == [("open_circuit", 4.0, 5.5), ("open_circuit", 9.0, 10.0)]


def test_a_steady_change_of_more_than_a_fifth_is_a_step() -> None:
    small = drawn(10.0, (0.0, 1.0), (5.0, 1.15), quantity=Quantity.RESISTANCE)
    large = drawn(10.0, (0.0, 1.0), (5.0, 1.3), quantity=Quantity.RESISTANCE)
    assert events(small) == []
    assert kinds(events(large)) == [("resistance_step", 5.0, 5.0)]
