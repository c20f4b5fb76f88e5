"""Checks what a driver's 'only when hot' changes: cold, a circuit that works is not cleared; it is warmed up first."""

from meterlog.circuit import load_circuit
from meterlog.circuit.diagnosis import Diagnoser
from meterlog.circuit.next_measurement.propose import Proposal
from meterlog.circuit.readings.measurement import Measurement
from meterlog.circuit.readings.observed import Observed

TOOL = Diagnoser(load_circuit("pump-feed"))
HOT = Observed("only_when_hot", "yes")
FAILS, STILL_WORKS = (Observed("fails_when_warm", answer) for answer in ("yes", "no"))
WORKS = [
    Measurement("voltage", "fuse_out", value=12.3),
    Measurement("voltage", "plug_feed", value=12.1),
    Measurement("voltage", "pump_plus", "pump_minus", value=11.95),
    Measurement("current", "fuse", value=4.9),
    Measurement("voltage", "pump_plus", "pump_minus", "crank", value=10.35),
    Measurement("voltage", "pump_minus", state="crank", value=0.04),
    Measurement("voltage", "battery_plus", state="crank", value=10.6),
    Measurement("voltage", "relay_out", state="off", value=0.0),
    Measurement("voltage", "relay_out", state="off", value=0.0),
    Measurement("voltage", "relay_coil", state="run", value=13.8),
]


def test_what_works_cold_is_not_cleared_where_it_fails_only_when_hot() -> None:
    assert TOOL.diagnose(WORKS, suggestions=0).decided == "healthy"
    found = TOOL.diagnose(WORKS, [HOT])
    assert found.decided == ""
    warm = next(step for step in found.steps if isinstance(step, Proposal) and "Warm it up" in step.title)
    assert warm.as_json()["observed"] == "fails_when_warm"
    assert "While it fails, leave it as it is and take the readings at once" in warm.how.text


def test_nobody_is_sent_to_warm_up_what_was_not_said_to_need_it_or_was_warmed_up() -> None:
    for told in ([], [HOT, FAILS], [HOT, STILL_WORKS]):
        places = [step.place for step in TOOL.diagnose(WORKS, told).steps]
        assert "fails_when_warm" not in places


def test_what_works_warm_too_is_cleared() -> None:
    assert TOOL.diagnose(WORKS, [HOT, STILL_WORKS]).decided == "healthy"


def test_readings_while_it_fails_warm_name_the_contact_that_heat_opens() -> None:
    cold = TOOL.diagnose(WORKS, [HOT, FAILS])
    assert cold.comes_and_goes > TOOL.diagnose(WORKS).comes_and_goes
    warm = [
        Measurement("voltage", "fuse_out", value=12.3),
        Measurement("voltage", "relay_out", value=0.0),
        Measurement("voltage", "plug_feed", value=0.0),
        Measurement("voltage", "relay_coil", value=12.1),
    ]
    found = TOOL.diagnose([*WORKS, *warm], [HOT, FAILS], suggestions=0)
    assert (found.hypotheses[0].part, found.hypotheses[0].fault) == ("relay", "intermittent")
