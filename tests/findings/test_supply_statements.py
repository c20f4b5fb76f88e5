"""What is said of supplies that were switched, cranked, or stand too low."""

from __future__ import annotations

import pytest

from tests.findings.conftest import Bench


def test_a_loss_that_came_back_is_not_said_to_have_stayed_away(bench: Bench) -> None:
    """Once: 'the supply went off at 220.6 s and did not come back', and 'outside', of a key that was turned."""
    number = bench.channel("ignition feed", 12.5, length_s=900.0)
    bench.event("supply_lost", number, 220.6, 320.6)
    found = bench.judge("went off")
    assert found.verdict == "cannot tell"
    assert "went off at 220.6 s, lasting 100.00 s +-0.25" in found.text
    assert "not back" not in found.text
    assert "a `key-off` marker says so" in found.text
    bench.event("supply_lost", number, 500.0, 899.0, ended=False)
    found = bench.judge("went off")
    assert "went off 2 times (at 220.6, 500.0 s), lasting 100.00 s +-0.25" in found.text
    assert "the last time it was not back 7 min later, in the last readings" in found.text


@pytest.mark.parametrize("kind", ["dropout", "chatter"])
def test_what_a_key_does_not_do_stays_outside(bench: Bench, kind: str) -> None:
    number = bench.channel("ignition feed", 12.5)
    bench.event(kind, number, 20.0, 21.0, extreme=0.0, reference=12.5)
    assert bench.judge("(at 20.0 s)").verdict == "outside"
