"""Checks what a test lamp's readings say about the pump feed."""

from typing import Any

import pytest

from meterlog.circuit import load_circuit
from meterlog.circuit.diagnosis import Diagnoser, Diagnosis
from meterlog.circuit.readings.from_file import measured_from_table
from meterlog.errors import CircuitError

CIRCUIT = load_circuit("pump-feed")
TOOL = Diagnoser(CIRCUIT)


def lamp(at: str, value: str, to: str = "battery_minus", **more: Any) -> dict[str, Any]:
    return {"quantity": "lamp", "at": at, "to": to, "value": value, **more}


def diagnose(*rows: dict[str, Any]) -> Diagnosis:
    measured, tried = measured_from_table({"measured": list(rows)}, CIRCUIT)
    return TOOL.diagnose(measured, tried)


def chance(found: Diagnosis, *parts: str) -> float:
    return sum(h.probability for h in found.hypotheses if h.part in parts)


def test_the_part_between_bright_and_dark_is_it() -> None:
    found = diagnose(lamp("fuse_in", "bright"), lamp("fuse_out", "dark"))
    assert found.hypotheses[0].part == "fuse"
    assert found.hypotheses[0].probability > 5 * found.hypotheses[1].probability
    assert any("bright" in s or "dark" in s for s in found.hypotheses[0].speaks_for)


def test_a_lamp_against_plus_tries_the_ground_side() -> None:
    found = diagnose(
        lamp("plug_feed", "bright", load="unplugged", watt=5),
        lamp("plug_ground", "dark", to="battery_plus", load="unplugged", side="harness", watt=5),
        lamp("body", "bright", to="battery_plus", watt=5),
    )
    assert chance(found, "ground_wire", "ground_bolt") > 0.8


@pytest.mark.parametrize("state", ["key_on", "crank"])
def test_a_high_resistance_joint_shows_under_a_filament_and_hides_from_a_meter_and_an_led(state: str) -> None:
    at = {"load": "unplugged", "state": state}
    commanded = lamp("relay_coil", "bright", watt=5, state=state)  # or it may be a vehicle that does not prime
    filament = diagnose(commanded, lamp("fuse_out", "bright", watt=5, **at), lamp("plug_feed", "glowing", watt=5, **at))
    led = diagnose(lamp("fuse_out", "bright", kind="led", **at), lamp("plug_feed", "bright", kind="led", **at))
    meter = diagnose(
        {"quantity": "voltage", "at": "fuse_out", "value": 12.0, **at},
        {"quantity": "voltage", "at": "plug_feed", "value": 12.0, **at},
    )
    before = chance(diagnose(), "relay", "inertia_switch", "feed_wire")
    assert chance(filament, "relay", "inertia_switch", "feed_wire") > 0.6 > 1.5 * before
    for weak in (led, meter):
        assert chance(weak, "relay", "inertia_switch", "feed_wire") > 0.4 * before


def test_many_bright_lamps_leave_a_small_loss_possible() -> None:
    rows = [lamp(at, "bright") for at in ("fuse_in", "fuse_out", "relay_out", "switch_out", "plug_feed")]
    found = diagnose(*rows, *rows)
    assert chance(found, "relay") > 0.01


@pytest.mark.parametrize(
    ("row", "message"),
    [
        (lamp("fuse_out", "half"), "'value' must be one of dark, glowing, dim, bright"),
        (lamp("fuse_out", "dim", error=0.1), "a lamp has no 'error'"),
        (lamp("fuse_out", "dim", watt=5, kind="led"), "an LED lamp loads nothing"),
        (lamp("fuse_out", "dim", watt=500), "'watt' must be a number"),
        (lamp("fuse_out", "dim", kind="neon"), "'kind' must be one of"),
        (lamp("fuse_out", "dim", load="lamp"), "in the load's place"),
        ({"quantity": "voltage", "at": "fuse_out", "value": 12.0, "watt": 5}, "'watt' is about a lamp"),
        (lamp("fuse_out", "dim", state="isolated"), "an isolated circuit has no lamp"),
    ],
)
def test_a_wrong_lamp_is_refused(row: dict[str, Any], message: str) -> None:
    with pytest.raises(CircuitError, match=message):
        measured_from_table({"measured": [row]}, CIRCUIT)


def test_a_lamp_is_kept_as_it_was_said() -> None:
    rows = [lamp("fuse_out", "dim", watt=10.0), lamp("fuse_out", "dark", kind="led"), lamp("fuse_in", "glowing")]
    measured, _ = measured_from_table({"measured": rows}, CIRCUIT)
    assert [str(m) for m in measured] == [
        "dim on a 10 W lamp from fuse_out to battery_minus at key-on",
        "dark on an LED lamp from fuse_out to battery_minus at key-on",
        "glowing on a 5 W lamp from fuse_in to battery_minus at key-on",
    ]
    again, _ = measured_from_table({"measured": [m.as_row() for m in measured]}, CIRCUIT)
    assert again == measured


def test_a_lamp_that_stays_dark_at_the_battery_is_to_be_proved_first() -> None:
    found = diagnose(lamp("battery_plus", "dark"))
    assert any("prove the lamp" in sentence for sentence in found.inconsistent)


def test_with_a_lamp_alone_only_a_lamp_is_asked_for() -> None:
    found = Diagnoser(CIRCUIT, tool="lamp").diagnose([])
    assert found.next
    assert {s.measurement.quantity for s in found.next} == {"lamp"}
    assert {name.split(" (")[0] for s in found.next for name, _ in s.outcomes} <= {"dark", "glowing", "dim", "bright"}
