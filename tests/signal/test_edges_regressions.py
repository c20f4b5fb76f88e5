"""Edges: what broke once."""

from __future__ import annotations

from meterlog.events.detect import detect
from meterlog.session import Channel
from meterlog_drivers.simulated.scenarios import SCENARIOS


def test_two_equal_readings_on_both_sides_of_the_mid_level_do_not_divide_by_zero() -> None:
    """A chattering relay on a slow meter: 9.98, 6.02, 7.67, 7.67, 7.27, 13.62 V."""
    run = SCENARIOS["relay-chatter"].run(1002, interval_s=0.5)
    channel = Channel(1, "pump feed", run.quantity(0), interval_s=0.5)
    found = detect(channel, run.readings[0], run.markers)
    assert found[0].kind == "prime_pulse"
