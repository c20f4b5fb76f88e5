"""Of many histories those that changed are named, and nearly none that did not."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from meterlog.trends import Verdict, judge
from meterlog.trends.judge import FALSE_SHARE, false_shares
from meterlog.trends.words import sentence
from tests.trends.conftest import history


def test_many_sound_vans_make_no_alarm_and_the_worn_ones_are_found() -> None:
    random = np.random.default_rng(11)
    sound = [history(random, per_degree_v=-0.02) for _ in range(150)]
    worn = [history(random, per_degree_v=-0.02, slope_v=random.uniform(-1.0, -0.6)) for _ in range(20)]
    named = [trend.history for trend in judge([*sound, *worn]) if trend.verdict is Verdict.CHANGED]
    found = sum(any(one is history for one in named) for history in worn)
    assert found >= 19
    assert len(named) - found <= 1


def test_shares_are_those_of_a_worked_example() -> None:
    assert false_shares([0.01, 0.04, 0.03, 0.9]) == pytest.approx([0.04, 0.16 / 3, 0.16 / 3, 0.9])
    assert false_shares([]) == []


def test_a_change_says_how_since_when_and_whether_it_is_worse() -> None:
    (trend,) = judge([history(np.random.default_rng(1), 80, step_v=-0.8, at_day=100)])
    assert trend.worse
    assert trend.change is not None
    assert abs(trend.change.amount + 0.8) <= trend.error < 0.2
    said = sentence(trend)
    assert said.startswith("fell by 0.8")
    assert "which is worse: at once; began between" in said
    assert "April" in said
    (better,) = judge([history(np.random.default_rng(1), 80, step_v=0.8, at_day=100)])
    assert better.worse is False


def test_a_season_is_no_trend_and_without_temperatures_nothing_is_said_of_it() -> None:
    random = np.random.default_rng(2)
    (with_them,) = judge([history(random, 60, per_degree_v=-0.03)])
    (without,) = judge([history(random, 60, per_degree_v=-0.03, temperatures=False)])
    assert with_them.verdict is Verdict.NO_CHANGE
    assert without.verdict is Verdict.CANNOT_TELL
    assert "temperature" in without.why


def test_few_days_tell_nothing_however_many_sessions() -> None:
    made = history(np.random.default_rng(4), 9, step_v=-3.0)
    often = replace(made, points=tuple(point for point in made.points for _ in range(20)))
    (trend,) = judge([often])
    assert (trend.verdict, trend.why) == (Verdict.CANNOT_TELL, "measured on 9 days, 10 are needed")


def test_what_two_meters_may_differ_by_is_no_change() -> None:
    made = history(np.random.default_rng(6), 80, step_v=-0.8)
    coarse = replace(made, points=tuple(replace(point, error=0.7) for point in made.points))
    (trend,) = judge([coarse])
    assert trend.false_share <= FALSE_SHARE
    assert (trend.verdict, "two meters" in trend.why) == (Verdict.CANNOT_TELL, True)


def test_no_change_says_which_one_would_have_been_seen() -> None:
    random = np.random.default_rng(8)
    trends = judge([history(random, 40) for _ in range(20)])
    seen = max(trend.seen for trend in trends if trend.seen is not None)
    assert "would have been seen" in sentence(trends[-1])
    stepped = judge([*(history(random, 40, step_v=seen, at_day=180) for _ in range(20))])
    assert sum(trend.verdict is Verdict.CHANGED for trend in stepped) >= 17
