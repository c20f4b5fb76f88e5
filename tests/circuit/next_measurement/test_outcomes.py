"""Checks what a suggestion says each outcome would mean."""

from __future__ import annotations

import re

from meterlog.circuit import load_circuit
from meterlog.circuit.diagnosis import Diagnoser
from meterlog.circuit.readings.measurement import Measurement


def test_an_outcome_names_single_parts_each_with_its_share_and_leaves_out_what_is_unlikely() -> None:
    readings = [Measurement("voltage", "fuse_in", value=12.4), Measurement("voltage", "fuse_out", value=0.0)]
    following = Diagnoser(load_circuit("pump-feed")).diagnose(readings).next
    again = next(s for s in following if s.place == "from fuse_out to battery_minus at key-on")
    expected = [int(re.findall(r"expected (\d+) %", outcome)[0]) for outcome, _ in again.outcomes]
    assert 95 <= sum(expected) <= 101
    dead, live = (then for _, then in again.outcomes)
    assert re.match(r"most likely fuse \(\d\d %\)", dead)
    assert "no fault (" in live
    for then in (dead, live):
        assert " with " not in then, "a single fault is not told together with another part"
        shares = [int(share) for share in re.findall(r"\((\d+) %\)", then)]
        assert 1 <= len(shares) <= 3
        assert shares == sorted(shares, reverse=True)
        assert min(shares) >= 5
