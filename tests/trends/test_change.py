"""A change is found where one is, its place and amount are within what is stated, and chance alone makes few alarms."""

from __future__ import annotations

import numpy as np
import pytest
import ruptures

from meterlog.trends.change import LEAST_DAYS, best_change, student_beyond
from tests.trends.conftest import history, seconds_of


@pytest.mark.parametrize(
    ("t", "nu", "chance"),
    [(12.706, 1, 0.05), (4.303, 2, 0.05), (2.571, 5, 0.05), (2.228, 10, 0.05), (3.169, 10, 0.01), (1.984, 100, 0.05)],
)
def test_the_tail_of_student_is_that_of_the_tables(t: float, nu: int, chance: float) -> None:
    assert student_beyond(t, nu) == pytest.approx(chance, abs=5e-5)


@pytest.mark.parametrize(("days", "follows"), [(LEAST_DAYS, 0.0), (40, 0.0), (120, 0.0), (40, 0.4), (120, 0.4)])
def test_chance_alone_makes_no_more_alarms_than_stated(days: int, follows: float) -> None:
    random = np.random.default_rng(days)
    changes = [best_change(history(random, days, per_degree_v=-0.02, follows=follows).days()) for _ in range(100)]
    alarms = sum(change is not None and change.chance <= 0.05 for change in changes)
    assert alarms <= 11  # 5 are expected, and 11 or fewer in 99.4 of 100 samples


@pytest.mark.parametrize("shape", ["step", "slope"])
def test_place_and_amount_lie_within_what_is_stated(shape: str) -> None:
    random = np.random.default_rng(5)
    placed = sized = 0
    tries = 60
    for _ in range(tries):
        at_day, amount = random.uniform(80, 250), random.uniform(-0.9, -0.5)
        step_v, slope_v = (amount, 0.0) if shape == "step" else (0.0, amount)
        made = history(random, 50, step_v=step_v, slope_v=slope_v, at_day=at_day, per_degree_v=-0.015)
        change = best_change(made.days())
        assert change is not None
        assert change.chance < 0.001
        lasts = (made.points[-1].started_at.timestamp() - seconds_of(at_day)) / (seconds_of(365) - seconds_of(at_day))
        by_the_end = amount * (lasts if shape == "slope" else 1.0)
        placed += (change.after_s or 0.0) <= seconds_of(at_day) <= change.before_s
        sized += abs(change.amount - by_the_end) <= change.error
    assert min(placed, sized) >= 52  # 57 are expected, less three standard deviations


def test_a_step_stands_where_a_library_of_change_points_puts_it() -> None:
    random = np.random.default_rng(7)
    for _ in range(10):
        days = history(random, 40, step_v=0.8, at_day=random.uniform(60, 300), temperatures=False, measure="x").days()
        change = best_change(days)
        (at, _) = ruptures.Binseg(model="l2", min_size=3, jump=1).fit(days.value.reshape(-1, 1)).predict(n_bkps=1)
        assert change is not None
        assert (change.after_s or 0.0) < days.time_s[at] <= change.before_s


def test_sound_days_with_a_fault_now_and_then_are_no_trend() -> None:
    random = np.random.default_rng(3)
    days = history(random, 60).days()
    days.value[30::4] += 1.5
    change = best_change(days)
    assert change is not None
    assert change.chance > 0.001
