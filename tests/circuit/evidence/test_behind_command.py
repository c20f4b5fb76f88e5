"""A command that does not come is not the end: what may be behind it is named, with the wire to go to next."""

import json

import pytest

from meterlog.circuit import load_circuit
from meterlog.circuit.diagnosis import Diagnoser
from meterlog.circuit.hypotheses import Hypothesis
from meterlog.circuit.readings.measurement import Measurement
from meterlog.circuit.readings.observed import Observed

NEVER = [
    Measurement("voltage", "relay_coil", state=state, value=0.0, at_coil=True) for state in ("key_on", "crank", "run")
]


@pytest.fixture(scope="module")
def tool() -> Diagnoser:
    return Diagnoser(load_circuit("pump-feed"))


def _coil(tool: Diagnoser, *seen: Observed) -> Hypothesis:
    return next(h for h in tool.diagnose(NEVER, seen, suggestions=0).hypotheses if h.part == "relay_coil")


def test_driver_immobiliser_and_crank_signal_are_named_with_the_next_wire(tool: Diagnoser) -> None:
    behind = _coil(tool).behind
    assert {one.cause for one in behind} == {"coil feed", "driver", "immobiliser", "crank signal"}
    assert sum(one.probability for one in behind) == pytest.approx(1.0)
    driver = next(one for one in behind if one.cause == "driver")
    assert "85" in driver.next
    assert "module's own pin" in driver.next


@pytest.mark.parametrize(
    ("key", "answer", "cause"),
    [("tachometer_moves", "no", "crank signal"), ("key_lamp_blinks", "yes", "immobiliser")],
)
def test_what_was_seen_moves_the_cause(tool: Diagnoser, key: str, answer: str, cause: str) -> None:
    assert _coil(tool, Observed(key, answer)).behind[0].cause == cause


def test_a_blinking_key_lamp_speaks_for_a_missing_command(tool: Diagnoser) -> None:
    def chance(*seen: Observed) -> float:
        return {h.part: h.probability for h in tool.diagnose([], seen, suggestions=0).hypotheses}["relay_coil"]

    assert chance(Observed("key_lamp_blinks", "yes")) > 2 * chance()


def test_a_horn_has_a_switch_and_no_immobiliser() -> None:
    circuit = load_circuit("horn")
    command = next(iter(circuit.commands))
    found = Diagnoser(circuit).diagnose([Measurement("voltage", command, value=0.0, at_coil=True)], suggestions=0)
    behind = next(h for h in found.hypotheses if h.part == command).behind
    assert {one.cause for one in behind} == {"switch", "coil feed"}


def test_the_json_has_it_for_commands_alone(tool: Diagnoser) -> None:
    found = json.loads(json.dumps(tool.diagnose(NEVER).as_json()))["hypotheses"]
    assert [h["part"] for h in found if "behind" in h] == ["relay_coil"]
    assert found[0]["behind"][0].keys() == {"cause", "probability", "text", "next"}
