"""Checks what voltage and current together say of the source."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from meterlog.reading import Quantity
from tests.findings.conftest import Bench

Array = NDArray[np.float64]


def switched(t: Array) -> Array:
    return 1.0 + 4.0 * ((t // 9.0) % 2)


def together(bench: Bench, label: str, ohms: float, sign: float = 1.0) -> None:
    bench.channel(label, lambda t: 12.6 - ohms * switched(t), length_s=180.0)
    bench.channel(
        "lamp current", lambda t: sign * switched(t), length_s=180.0, start_s=0.1, quantity=Quantity.DC_CURRENT
    )


@pytest.mark.parametrize("sign", [1.0, -1.0])
@pytest.mark.parametrize(("ohms", "verdict"), [(0.118, "within"), (0.4, "outside")])
def test_a_feed_has_the_resistance_of_the_battery_and_the_way(
    bench: Bench, ohms: float, verdict: str, sign: float
) -> None:
    together(bench, "lamp feed", ohms, sign)
    found = bench.judge("a source resistance of")
    assert found.verdict == verdict
    assert found.margin is not None
    assert found.margin_error is not None
    assert abs(0.2 - found.margin - ohms) <= found.margin_error <= 0.1 * ohms
    assert found.limit == "at most 0.2 ohm: 1 V at 5 A"
    assert "regression" in found.source


def test_at_the_battery_it_is_the_batterys_own(bench: Bench) -> None:
    """A crank with a clamp: 170 A for two seconds take 1.7 V."""

    def crank(t: Array) -> Array:
        return np.where((t > 20) & (t < 22), 170.0 + 15.0 * np.sin(30.0 * t), 2.0)

    bench.channel("battery", lambda t: 12.6 - 0.01 * crank(t), interval_s=0.1)
    bench.channel("starter current", crank, interval_s=0.1, quantity=Quantity.DC_CURRENT, resolution=0.1)
    found = bench.judge("a source resistance of")
    assert found.verdict == "cannot tell"
    assert "10.0 mohm" in found.text
    assert "compare it with a good one" in found.text


def test_a_voltage_that_rises_with_the_current_tells_no_resistance(bench: Bench) -> None:
    """A pump that is driven by pulses draws more where it is given more."""
    together(bench, "pump feed", -0.9)
    found = bench.judge("rises with")
    assert found.verdict == "cannot tell"
    assert not [f for f in bench.all() if "source resistance of" in f.text]


def test_a_load_of_constant_power_is_no_fault_of_the_source(bench: Bench) -> None:
    def volts(t: Array) -> Array:
        return 13.0 + np.sin(t / 4.0)

    bench.channel("radio feed", volts, length_s=180.0, resolution=0.001)
    bench.channel("radio current", lambda t: 60.0 / volts(t), length_s=180.0, quantity=Quantity.DC_CURRENT)
    found = bench.judge("a source resistance of")
    assert found.verdict == "cannot tell"
    assert "same power at any voltage" in found.text


def test_two_currents_leave_open_which_one_it_was(bench: Bench) -> None:
    together(bench, "lamp feed", 0.4)
    bench.channel("other current", 1.0, length_s=180.0, quantity=Quantity.DC_CURRENT)
    assert not [f for f in bench.all() if "source resistance" in f.text]
