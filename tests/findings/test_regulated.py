"""Checks that what is driven by pulses or regulated reads lower, and moves, by design: never 'outside'."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray

from tests.findings.conftest import Bench

Array = NDArray[np.float64]


def moving(t: Array) -> Array:
    """Another level between 60 and 97 % of 13.8 V every few seconds."""
    levels = 13.8 * np.random.default_rng(3).uniform(0.6, 0.97, 40)
    return np.asarray(levels[(t // 5.0).astype(int) % 40])


def test_a_prime_that_reads_lower_is_not_outside_since_it_may_be_driven_by_pulses(bench: Bench) -> None:
    """It was 'outside', with the words that it may legitimately read lower."""
    bench.channel("battery", 12.4)
    number = bench.channel("pump feed", lambda t: np.where((t >= 5) & (t < 7), 8.1, 0.0))
    bench.event("prime_pulse", number, 5.0, 7.0, level=8.1)
    found = bench.judge("reached 8.10 V")
    assert found.verdict == "cannot tell"
    assert found.margin is not None
    assert found.margin < 0
    assert "legitimately reads lower on a DC meter. What decides: the meter's duty cycle" in found.text


@pytest.mark.parametrize("kind", ["sag", "fade"])
def test_what_moves_all_the_time_sags_by_design(bench: Bench, kind: str) -> None:
    number = bench.channel("pump feed", moving, length_s=120.0)
    bench.event(kind, number, 20.0, 25.0, level=8.5, extreme=8.5, reference=13.0)
    found = bench.judge("at 20.0 s")
    assert found.verdict == "cannot tell"
    assert "keeps no level of its own" in found.text
    assert "What decides" in found.text


def test_what_goes_off_meanwhile_is_a_fault_all_the_same(bench: Bench) -> None:
    number = bench.channel("pump feed", moving, length_s=120.0)
    bench.event("dropout", number, 20.0, 21.0, level=0.0, extreme=0.0, reference=13.0)
    assert bench.judge("1 dropout").verdict == "outside"


@pytest.mark.parametrize(
    "value",
    [
        lambda t: np.where(t % 20 < 3, 9.5, 13.8),  # it sags and returns to its level
        lambda t: np.interp(t, [0, 30, 90, 120], [12.4, 12.4, 9.0, 9.0]),  # it sinks, and does not go up and down
        lambda t: np.where(t == 10.0, 5.0, np.interp(t, [0, 30, 90, 120], [12.4, 12.4, 9.0, 9.0])),  # one wrong reading
    ],
)
def test_a_level_that_is_kept_or_lost_is_judged(bench: Bench, value: Callable[[Array], Array]) -> None:
    number = bench.channel("pump feed", value, length_s=120.0)
    bench.event("sag", number, 20.0, 23.0, level=9.5, extreme=9.5, reference=13.8)
    assert bench.judge("1 sag").verdict == "outside"


@pytest.mark.parametrize(("label", "verdict"), [("pump feed", "cannot tell"), ("lamp feed", "outside")])
def test_a_pump_that_stands_lower_than_the_battery_may_be_driven(bench: Bench, label: str, verdict: str) -> None:
    bench.channel("battery", 13.8)
    bench.channel(label, 9.5)
    assert bench.judge(f"From battery to {label}").verdict == verdict
