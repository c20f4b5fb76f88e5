"""The pump motor: exact against the analytic solution, and physical at its limits."""

from __future__ import annotations

import math
import time

import numpy as np
import pytest

from meterlog_drivers.simulated.van.motor import PumpMotor

FREE = PumpMotor(load_nm=0.0)
"""No constant torque: the two equations are one second-order system with a textbook step response."""


def analytic_current(motor: PumpMotor, supply_v: float, series_ohm: float, t: np.ndarray) -> np.ndarray:
    """The current of an unloaded, drag-free motor after switching on: the overdamped series R-L-C analogue.

    With load 0 and drag 0 the rotor is a capacitor of J/k^2, so i = E/L (exp(a t) - exp(b t)) / (a - b) with a, b the
    roots of s^2 + R/L s + k^2/(L J) = 0.
    """
    ohm = motor.winding_ohm + series_ohm
    half = ohm / motor.inductance_h / 2
    root = math.sqrt(half**2 - motor.constant**2 / (motor.inductance_h * motor.inertia_kgm2))
    a, b = -half + root, -half - root
    return supply_v / motor.inductance_h * (np.exp(a * t) - np.exp(b * t)) / (a - b)


@pytest.mark.parametrize("step_s", [1e-4, 0.5e-3, 5e-3])
def test_the_current_is_the_analytic_one_at_any_step(step_s: float) -> None:
    motor = PumpMotor(load_nm=0.0, drag_nms=0.0)
    n = round(1.0 / step_s)
    current, speed = motor.drive(np.full(n, 12.0), 0.1, step_s, 0.0, 0.0)
    t = step_s * np.arange(1, n + 1)
    expected = analytic_current(motor, 12.0, 0.1, t)
    assert np.allclose(current, expected, atol=1e-9)
    assert speed[-1] == pytest.approx(12.0 / motor.constant, rel=1e-3)


def test_it_settles_on_the_steady_state_and_draws_what_good_pumps_draw() -> None:
    motor = PumpMotor()
    current, speed = motor.drive(np.full(4000, 12.4), 0.1, 0.5e-3, 0.0, 0.0)
    steady_a, steady_speed = motor.steady(12.4, 0.1)
    assert current[-1] == pytest.approx(steady_a, rel=1e-6)
    assert speed[-1] == pytest.approx(steady_speed, rel=1e-6)
    assert 4.0 < current[-1] < 6.0
    assert current.max() > 2 * current[-1], "a motor at rest draws an inrush"


def test_power_in_is_heat_plus_mechanical_power_when_steady() -> None:
    motor = PumpMotor()
    i, w = motor.steady(12.0, 0.2)
    assert 12.0 * i == pytest.approx(i * i * (motor.winding_ohm + 0.2) + w * (motor.load_nm + motor.drag_nms * w))


def test_too_little_voltage_leaves_it_standing_with_the_stalled_current() -> None:
    motor = PumpMotor()
    volts = 0.8 * motor.locked_a * motor.winding_ohm
    current, speed = motor.drive(np.full(400, volts), 0.0, 0.5e-3, 0.0, 0.0)
    assert speed.max() == 0.0
    assert current[-1] == pytest.approx(volts / motor.winding_ohm)


def test_losing_its_supply_through_a_resistance_stops_it_and_it_starts_again() -> None:
    motor = PumpMotor()
    volts = np.concatenate([np.full(800, 12.0), np.full(1200, 1.0), np.full(800, 12.0)])
    current, speed = motor.drive(volts, 0.1, 0.5e-3, 0.0, 0.0)
    assert speed[799] > 400
    assert speed[1999] == 0.0
    assert current[1999] == pytest.approx(1.0 / (motor.winding_ohm + 0.1))
    assert speed[-1] == pytest.approx(motor.steady(12.0, 0.1)[1], rel=1e-2)


def test_coasting_obeys_the_equation_of_motion_until_it_stands() -> None:
    motor = PumpMotor()
    step_s = 0.5e-3
    speed = np.concatenate([[500.0], motor.coast(400, step_s, 500.0)])
    turning = speed[:-1][speed[1:] > 0]
    middle = (turning + speed[1 : len(turning) + 1]) / 2
    slope = np.diff(speed)[: len(turning)] / step_s
    assert np.allclose(slope, -(motor.load_nm + motor.drag_nms * middle) / motor.inertia_kgm2, rtol=1e-5)
    assert speed[-1] == 0.0


def test_a_minute_takes_well_under_a_second() -> None:
    began = time.process_time()
    FREE.drive(np.full(120_000, 12.0), 0.1, 0.5e-3, 0.0, 0.0)
    assert time.process_time() - began < 0.5
