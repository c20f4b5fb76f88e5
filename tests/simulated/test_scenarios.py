"""Every scenario: what its table says is what happens, for any seed."""

from __future__ import annotations

from collections import Counter

import numpy as np
import pytest

from meterlog.kinds import KINDS
from meterlog.reading import Quantity
from meterlog_drivers.simulated.scenarios import SCENARIOS

SEEDS = (0, 7, 23)

EXPECTED = {
    "healthy-prime": {"prime_pulse": 1},
    "no-command": {"missing_prime": 1},
    "open-motor": {"prime_pulse": 1},
    "blown-fuse": {"missing_prime": 1},
    "corroded-ground": {"prime_pulse": 1},
    "relay-high-resistance": {"prime_pulse": 1},
    "drop-test": {},
    "relay-drop-test": {},
    "pump-ohms": {},
    "autoranging": {"prime_pulse": 1, "range_change": 2},
    "dead-spot": {"prime_pulse": 5},
    "intermittent-feed": {"prime_pulse": 1, "dropout": 5},
    "relay-chatter": {"prime_pulse": 1, "chatter": 2},
    "dies-and-stays": {"prime_pulse": 1, "supply_lost": 1},
    "link-lost": {"prime_pulse": 1, "gap": 1},
    "meter-trouble": {"prime_pulse": 1, "held_display": 1, "meter_battery_low": 1},
    "healthy-crank": {"sag": 1},
    "overcharging": {"sag": 1, "overvoltage": 1},
    "weak-battery-crank": {"sag": 1, "prime_pulse": 2},
    "prime-while-cranking": {"missing_prime": 1},
    "wiggle-open": {"open_circuit": 2},
    "wiggle-step": {"resistance_step": 1},
    "parasitic-draw": {},
}


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("name", SCENARIOS)
def test_each_scenario_has_the_true_events_that_it_is_about(name: str, seed: int) -> None:
    truth = SCENARIOS[name].run(seed).truth
    assert {event.kind for event in truth} <= set(KINDS)
    assert Counter(event.kind for event in truth) == Counter(EXPECTED[name])


@pytest.mark.parametrize("name", SCENARIOS)
def test_the_same_seed_gives_the_same_run_and_another_a_different_one(name: str) -> None:
    scenario = SCENARIOS[name]
    first, again, other = scenario.run(7), scenario.run(7), scenario.run(8)
    for a, b, c in zip(first.readings, again.readings, other.readings, strict=True):
        assert np.array_equal(a.value, b.value)
        assert np.array_equal(a.time_s, b.time_s)
        assert not (len(a) == len(c) and np.array_equal(a.value, c.value))
    assert first.truth == again.truth


@pytest.mark.parametrize("seed", SEEDS)
def test_a_healthy_prime_is_two_seconds_and_the_coasting_pump(seed: int) -> None:
    (prime,) = SCENARIOS["healthy-prime"].run(seed).truth
    assert prime.duration_s == pytest.approx(2.02, abs=0.03)
    assert prime.level is not None
    assert 11.5 < prime.level < 12.6


def test_the_end_of_the_signal_is_no_loss_of_the_supply() -> None:
    """At 39.6 s the sum of steps came out a little below the length once."""
    kinds = {event.kind for event in SCENARIOS["intermittent-feed"].run(700_006).truth}
    assert kinds == {"prime_pulse", "dropout"}


def test_fault_scenarios_show_what_the_trade_says_they_show() -> None:
    def during_prime(name: str, channel: int) -> float:
        run = SCENARIOS[name].run(7)
        key_on = run.markers[0].time_s
        series = run.readings[channel].between(key_on + 1.0, key_on + 1.8)
        return float(np.median(series.value))

    assert during_prime("blown-fuse", 1) > 12.0, "the supply voltage across a blown fuse"
    assert abs(during_prime("blown-fuse", 0)) < 0.05
    assert during_prime("open-motor", 0) > 12.0, "voltage right"
    assert abs(during_prime("open-motor", 1)) < 0.05, "current zero: motor open"
    assert during_prime("corroded-ground", 1) > 1.0, "a ground side drop over any book's limit"
    assert during_prime("relay-high-resistance", 1) > 0.3, "more than a relay contact may drop"
    assert during_prime("drop-test", 0) < 0.5
    assert during_prime("drop-test", 1) < 0.15
    assert 4.0 < during_prime("drop-test", 2) < 6.0


def test_a_weak_battery_falls_below_the_load_test_floor_and_a_good_one_does_not() -> None:
    def lowest(name: str) -> float:
        run = SCENARIOS[name].run(7)
        (crank,) = (m.time_s for m in run.markers if m.name == "crank")
        return float(run.readings[0].between(crank + 0.7, crank + 1.1).value.min())

    assert lowest("weak-battery-crank") < 9.1
    assert lowest("healthy-crank") > 9.6


def test_meter_fields_can_be_set_for_a_run() -> None:
    slow, fast = SCENARIOS["healthy-prime"].run(7, interval_s=1.0), SCENARIOS["healthy-prime"].run(7, interval_s=0.1)
    assert (len(slow.readings[0]), len(fast.readings[0])) == (10, 99)
    assert slow.truth[-1] == fast.truth[-1]


def test_columns_of_one_meter_are_displayed_at_the_same_moments() -> None:
    run = SCENARIOS["corroded-ground"].run(7, together=True)
    assert np.array_equal(run.readings[0].time_s, run.readings[1].time_s)
    apart = SCENARIOS["corroded-ground"].run(7)
    assert not np.array_equal(apart.readings[0].time_s, apart.readings[1].time_s)


def test_displays_are_readings_in_order_of_time_with_their_columns() -> None:
    run = SCENARIOS["open-motor"].run(7)
    readings = run.displays((0, 1), start_s=100.0)
    assert [r.time_s for r in readings] == sorted(r.time_s for r in readings)
    assert {(r.column, r.quantity) for r in readings} == {(0, Quantity.DC_VOLTAGE), (1, Quantity.DC_CURRENT)}
    assert readings[0].time_s >= 100.0
    assert {r.resolution for r in readings} == {0.01}
