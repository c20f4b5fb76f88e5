"""Two parts lose voltage: the one that explains the complaint is named first, and both are said."""

import pytest

from meterlog.circuit import load_circuit
from meterlog.circuit.diagnosis import Diagnoser
from meterlog.circuit.readings.measurement import Measurement


@pytest.fixture(scope="module")
def tool() -> Diagnoser:
    return Diagnoser(load_circuit("pump-feed"))


def _two(relay_v: float, wire_v: float) -> list[Measurement]:
    return [
        Measurement("voltage", "battery_plus", value=12.4),
        Measurement("voltage_drop", "relay", "relay", value=relay_v),
        Measurement("voltage_drop", "feed_wire", "feed_wire", value=wire_v),
    ]


@pytest.mark.parametrize(("relay_v", "wire_v", "first"), [(1.0, 7.0, "feed_wire"), (6.0, 1.0, "relay")])
def test_the_greater_loss_comes_first(tool: Diagnoser, relay_v: float, wire_v: float, first: str) -> None:
    found = tool.diagnose(_two(relay_v, wire_v))
    assert found.hypotheses[0].part == first
    assert {h.part for h in found.hypotheses[:2]} == {"relay", "feed_wire"}
    assert found.verdict.startswith("more than one part loses voltage")
    assert f"most likely {first}" in found.verdict
    for part, volts in (("relay", relay_v), ("feed_wire", wire_v)):
        assert f"about {volts:g} V at {part}" in found.verdict


def test_one_loss_alone_is_ranked_by_its_probability(tool: Diagnoser) -> None:
    found = tool.diagnose([Measurement("voltage_drop", "relay", "relay", value=5.0)])
    chances = [h.probability for h in found.hypotheses]
    assert found.hypotheses[0].part == "relay"
    assert chances == sorted(chances, reverse=True)
