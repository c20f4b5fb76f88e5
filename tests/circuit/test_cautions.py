"""Cautions where a measurement calls for them."""

from __future__ import annotations

from meterlog.circuit import Circuit, Part, load_circuit
from meterlog.circuit.cautions import caution
from meterlog.circuit.measured import Measurement


def test_a_current_that_the_jack_cannot_take_is_measured_with_a_clamp_only() -> None:
    fan = Circuit(
        "fan", 12.0, (Part("battery", "battery"), Part("fuse", "fuse"), Part("fan", "motor", current_a=18)), ()
    )
    said = caution(fan, Measurement("current", "fuse"))
    assert "With a clamp only: this circuit draws 18 A" in said
    assert "in series" not in said
    assert "in series, use the 10 A jack" in caution(load_circuit("pump-feed"), Measurement("current", "fuse"))
