"""Overvoltage: what broke once."""

from __future__ import annotations

import pytest

from meterlog.events.detect import detect
from meterlog.session import Channel
from meterlog_drivers.simulated.scenarios import SCENARIOS


@pytest.mark.parametrize("seed", [720_003, 720_008])
def test_a_slow_rise_after_a_crank_is_found(seed: int) -> None:
    """Return what the crank stirred was taken for noise, and sixteen seconds at 15.6 V for a graze."""
    run = SCENARIOS["overcharging"].run(seed, interval_s=0.1)
    found = detect(Channel(1, "battery", run.quantity(0), interval_s=0.1), run.readings[0], run.markers)
    assert "overvoltage" in [event.kind for event in found]
