"""An interrupted current alone proves nothing; the voltage at the load at the same instant does."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray

from meterlog.reading import Quantity
from tests.findings.conftest import Bench

Array = NDArray[np.float64]


def falling(level: float, low: float, start_s: float = 30.0, end_s: float = 32.0) -> Callable[[Array], Array]:
    return lambda t: np.where((t >= start_s) & (t < end_s), low, level)


def interrupted(bench: Bench, label: str = "pump current", end_s: float = 32.0) -> None:
    value = falling(4.8, 0.0, end_s=end_s)
    number = bench.channel(label, value, quantity=Quantity.DC_CURRENT)
    if end_s < 60.0:
        bench.event("interruption", number, 30.0, end_s, level=0.0, extreme=0.0, reference=4.8)


def test_a_current_that_was_nothing_for_two_seconds_is_never_within(bench: Bench) -> None:
    """It was: 'within: no dropout, sag or loss of current was seen'."""
    interrupted(bench)
    found = bench.judge("interrupted")
    assert found.verdict == "cannot tell"
    assert "interrupted 1 time (at 30.0 s), lasting 2.00 s +-0.25, down to 0.00 A." in found.text
    assert "A load that is switched off reads the same" in found.text
    assert "What decides: the voltage at the load's own connector at the same instant" in found.text
    assert not [f for f in bench.all() if "was seen in" in f.text]
    (line,) = found.lines
    assert line.level == pytest.approx(0.48)
    assert line.words == "interrupted below, 10% of usual"


def test_the_voltage_that_stands_meanwhile_condemns_the_load_or_its_ground(bench: Bench) -> None:
    bench.channel("pump feed", falling(13.4, 13.7))
    interrupted(bench)
    found = bench.judge("interrupted")
    assert found.verdict == "outside"
    assert "the load, its connector or its ground" in found.text


def test_the_voltage_that_went_too_is_the_supplys(bench: Bench) -> None:
    bench.channel("pump feed", falling(13.4, 0.1))
    interrupted(bench)
    found = bench.judge("interrupted")
    assert found.verdict == "cannot tell"
    assert "it is the supply's, not the load's, or was switched" in found.text


@pytest.mark.parametrize(("label", "level", "low"), [("battery", 12.6, 12.6), ("pump feed", 13.4, 10.0)])
def test_a_voltage_that_proves_nothing(bench: Bench, label: str, level: float, low: float) -> None:
    """The battery stands while a load is switched off; and a feed at three quarters is neither there nor gone."""
    bench.channel(label, falling(level, low))
    interrupted(bench)
    assert bench.judge("the current was interrupted").verdict == "cannot tell"


def test_a_load_that_is_switched_on_its_ground_side_is_not_condemned(bench: Bench) -> None:
    bench.channel("injector feed", 13.4)
    interrupted(bench, "injector current")
    found = bench.judge("the current was interrupted")
    assert found.verdict == "cannot tell"
    assert "voltage across the load's own two terminals" in found.text


@pytest.mark.parametrize(("volts", "verdict"), [(13.4, "outside"), (0.1, "cannot tell"), (None, "cannot tell")])
def test_a_current_that_went_off_for_good_is_told_too(bench: Bench, volts: float | None, verdict: str) -> None:
    if volts is not None:
        bench.channel("pump feed", falling(13.4, volts, end_s=61.0))
    interrupted(bench, end_s=61.0)
    found = bench.judge("did not come back before the end")
    assert found.verdict == verdict


def test_what_merely_primes_went_off_by_design(bench: Bench) -> None:
    value = falling(0.0, 4.1)
    number = bench.channel("pump current", value, quantity=Quantity.DC_CURRENT)
    bench.event("prime_pulse", number, 30.0, 32.0, level=4.1)
    assert not [f for f in bench.all() if "did not come back" in f.text]


def test_a_current_that_never_flowed_was_not_watched(bench: Bench) -> None:
    bench.channel("pump current", 0.0, quantity=Quantity.DC_CURRENT)
    assert bench.judge("never on, so no interruption could have shown").verdict == "cannot tell"


def test_nothing_seen_names_what_was_looked_for(bench: Bench) -> None:
    """It was: 'no dropout, sag or loss of current', of which none was looked for."""
    bench.channel("pump current", 4.8, quantity=Quantity.DC_CURRENT)
    found = bench.judge("was seen in")
    assert found.verdict == "within"
    assert "no interruption was seen in 60 s" in found.text
