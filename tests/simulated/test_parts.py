"""Battery, relay, starter and supply: figures of the trade, and the equations they claim to solve."""

from __future__ import annotations

import math

import numpy as np
import pytest

from meterlog_drivers.simulated.van.battery import Battery
from meterlog_drivers.simulated.van.relay import Relay
from meterlog_drivers.simulated.van.starter import Starter
from meterlog_drivers.simulated.van.supply import Supply

STEP_S = 0.5e-3


@pytest.mark.parametrize(("charge", "volts"), [(1.0, 12.6), (0.75, 12.4), (0.5, 12.2), (0.25, 12.0), (0.0, 11.6)])
def test_rest_voltage_follows_the_charge_table(charge: float, volts: float) -> None:
    assert Battery(charge, temperature_c=25.0).rest_v == pytest.approx(volts)


def test_cold_and_empty_raise_the_internal_resistance() -> None:
    assert Battery(1.0, -10.0).ohm > Battery(1.0, 25.0).ohm
    assert Battery(0.2, 25.0).ohm > Battery(1.0, 25.0).ohm


def coil(*spans: tuple[float, float, float], duration_s: float = 0.2) -> np.ndarray:
    volts = np.zeros(round(duration_s / STEP_S))
    for begin, end, level in spans:
        volts[round(begin / STEP_S) : round(end / STEP_S)] = level
    return volts


def edges_s(closed: np.ndarray) -> list[float]:
    return [round(float(k) * STEP_S, 6) for k in np.flatnonzero(np.diff(closed.astype(int), prepend=0, append=0))]


def test_the_contact_follows_the_coil_after_its_times() -> None:
    relay = Relay(operate_s=0.006, release_s=0.004)
    assert edges_s(relay.contact(coil((0.05, 0.1, 12.0)), STEP_S)) == [0.056, 0.104]


def test_a_low_coil_voltage_does_not_pull_in_but_does_hold() -> None:
    relay = Relay(pull_in_v=7.0, drop_out_v=0.9)
    assert edges_s(relay.contact(coil((0.05, 0.1, 6.5)), STEP_S)) == []
    assert edges_s(relay.contact(coil((0.02, 0.05, 12.0), (0.05, 0.1, 5.0)), STEP_S)) == [0.026, 0.104]


def test_an_interruption_shorter_than_the_release_time_is_not_followed() -> None:
    relay = Relay(operate_s=0.006, release_s=0.004)
    assert edges_s(relay.contact(coil((0.02, 0.05, 12.0), (0.0525, 0.1, 12.0)), STEP_S)) == [0.026, 0.104]
    assert len(edges_s(relay.contact(coil((0.02, 0.05, 12.0), (0.06, 0.1, 12.0)), STEP_S))) == 4


def test_the_starter_is_within_half_a_percent_of_the_exact_solution_without_compressions() -> None:
    starter = Starter(compression_nm=0.0)
    current = starter.crank(12.5, 0.008, 1000, STEP_S)
    ohm, k = starter.ohm + 0.008, starter.constant
    final_speed = (k * 12.5 / ohm - starter.friction_nm) / (k * k / ohm)
    t = STEP_S * np.arange(1000)
    speed = final_speed * (1.0 - np.exp(-t * k * k / (ohm * starter.inertia_kgm2)))
    exact = (12.5 - k * speed) / ohm
    assert np.abs(12.5 - ohm * current - k * speed).max() < 0.005 * k * final_speed
    assert current[0] == pytest.approx(exact[0])
    assert current[-1] == pytest.approx(exact[-1], rel=1e-3)


def test_a_starter_that_is_too_weak_stands_still_at_its_stalled_current() -> None:
    starter = Starter(friction_nm=500.0)
    assert np.allclose(starter.crank(12.0, 0.01, 200, STEP_S), 12.0 / (starter.ohm + 0.01))


def test_the_supply_dips_while_cranking_and_rises_to_the_regulated_voltage_after() -> None:
    supply = Supply(Battery(0.9, 20.0))
    volts = supply.voltage(np.full(20_000, 4.0), STEP_S, cranks=((2.0, 3.0),), runs=((3.0, math.inf),))
    assert volts[1000] == pytest.approx(supply.battery.rest_v - 4.0 * supply.battery.ohm)
    assert 9.6 < volts[5000:5999].mean() < 11.5
    assert volts[-1] == pytest.approx(supply.regulated_v, abs=0.01)
