"""Checks what readings, feeds and replaced parts say about the pump feed, from the physics of the chain."""

import json
import time
from collections.abc import Callable
from typing import Any

import pytest

from meterlog.circuit import circuit_from_table, load_circuit
from meterlog.circuit.diagnosis import Diagnoser, Diagnosis
from meterlog.circuit.faults.fault_rates import Rates
from meterlog.circuit.model.circuit_file import read_table
from meterlog.circuit.readings.from_file import measured_from_table

Row = dict[str, Any]
Diagnose = Callable[..., Diagnosis]


def v(at: str, value: float, state: str = "key_on", load: str = "connected", to: str = "battery_minus") -> Row:
    return {"quantity": "voltage", "at": at, "to": to, "state": state, "load": load, "value": value}


def drop(at: str, value: float, state: str = "key_on") -> Row:
    return {"quantity": "voltage_drop", "at": at, "state": state, "value": value}


def ohms(at: str, to: str, value: float | str, load: str = "connected") -> Row:
    return {"quantity": "resistance", "at": at, "to": to, "state": "isolated", "load": load, "value": value}


def amps(at: str, value: float, state: str = "key_on") -> Row:
    return {"quantity": "current", "at": at, "state": state, "value": value}


def fed(into: str, result: str, feed: str = "battery") -> Row:
    return {"feed": feed, "into": into, "result": result}


@pytest.fixture(scope="module")
def tool() -> Diagnoser:
    return Diagnoser(load_circuit("pump-feed"))


@pytest.fixture
def diagnose(tool: Diagnoser) -> Diagnose:
    def run(measured: list[Row], tried: list[Row] | None = None) -> Diagnosis:
        return tool.diagnose(*measured_from_table({"measured": measured, "tried": tried or []}, tool.circuit))

    return run


PUMP_SIDE = ["pump", "plug_feed_pin", "plug_ground_pin", "ground_wire", "ground_bolt"]
GROUND_SIDE = ["ground_bolt", "ground_wire", "plug_ground_pin"]
NO_RELAY_CRANK = [v("fuse_out", 11.0, "crank"), v("relay_out", 0.0, "crank")]
LAMP_DIM = [v("plug_feed", 12.2, load="unplugged"), v("plug_feed", 1.0, load="lamp"), v("relay_out", 12.3)]
FUSE_DEAD = [v("fuse_in", 12.4), v("fuse_out", 0.0)]


@pytest.mark.parametrize(
    ("measured", "tried", "allowed"),
    [
        ([*FUSE_DEAD, v("plug_feed", 0.0)], [], ["fuse"]),
        ([drop("fuse", 12.3), v("battery_plus", 12.5)], [], ["fuse"]),
        ([v("fuse_out", 12.4), v("relay_out", 0.0), v("relay_coil", 12.0)], [], ["relay"]),
        ([*NO_RELAY_CRANK, v("relay_coil", 0.0, "crank")], [], ["relay_coil"]),
        (NO_RELAY_CRANK, [{"replaced": "relay", "result": "dead"}], ["relay_coil"]),
        ([v("plug_feed", 12.4), v("plug_ground", 0.01), amps("pump", 0.0)], [], ["pump"]),
        ([v("plug_feed", 12.2), ohms("pump_plus", "pump_minus", "open")], [], ["pump"]),
        ([v("pump_plus", 10.8), amps("pump", 12.0)], [], ["pump"]),
        ([v("plug_ground", 4.0), v("ground_eyelet", 3.9), v("body", 0.02)], [], ["ground_bolt"]),
        ([v("plug_feed", 12.1), v("pump_plus", 6.0)], [], ["plug_feed_pin"]),
        ([drop("plus_clamp", 0.02), drop("fuse", 0.03), drop("relay", 2.1)], [], ["relay"]),
        ([v("battery_plus", 11.4), v("battery_plus", 7.8, "crank")], [], ["battery"]),
        (LAMP_DIM, [], ["inertia_switch", "feed_wire"]),
        ([v("plug_feed", 12.3)], [fed("plug_feed", "dead")], PUMP_SIDE),
        ([v("plug_feed", 12.3)], [fed("pump_minus", "runs", "battery_minus")], GROUND_SIDE),
        (
            [*FUSE_DEAD, ohms("plug_feed", "battery_minus", 0.6, "unplugged")],
            [{"replaced": "fuse", "result": "blew"}],
            ["feed_wire"],
        ),
    ],
)
def test_the_part_that_the_readings_point_to_comes_first(
    diagnose: Diagnose, measured: list[Row], tried: list[Row], allowed: list[str]
) -> None:
    found = diagnose(measured, tried)
    assert found.hypotheses[0].part in allowed
    assert found.hypotheses[0].probability > found.healthy


@pytest.mark.parametrize(
    "measured",
    [
        [v("battery_plus", 12.5), v("plug_feed", 12.3), v("pump_plus", 12.2, to="pump_minus"), amps("pump", 4.8)],
        [
            *(v("plug_feed", 0.0), v("plug_feed", 0.0)),  # one alone may be a probe without contact
            *(v("plug_feed", 10.6, "crank"), v("pump_minus", 0.02, "run"), amps("pump", 4.9, "run")),
            v("plug_feed", 13.4, "run"),  # it could come and go, in such a vehicle as in any other
        ],
    ],
)
def test_a_circuit_that_does_its_work_is_called_healthy(diagnose: Diagnose, measured: list[Row]) -> None:
    found = diagnose(measured)
    assert found.healthy > 0.5
    assert found.verdict.startswith("healthy")


def test_an_unplugged_connector_at_full_voltage_proves_little(diagnose: Diagnose) -> None:
    before = {h.part: h.probability for h in diagnose([v("battery_plus", 12.4)]).hypotheses}
    unplugged = [v("battery_plus", 12.4), v("plug_feed", 12.4, load="unplugged")]
    after = {h.part: h.probability for h in diagnose(unplugged).hypotheses}
    assert after["relay"] > 0.4 * before["relay"]
    on_load = [v("battery_plus", 12.4), v("plug_feed", 12.3), v("plug_feed", 0.0, "off")]  # nor is the contact welded
    loaded = {h.part: h.probability for h in diagnose(on_load).hypotheses}
    assert loaded.get("relay", 0.0) < 0.3 * before["relay"]


def test_one_back_probed_nothing_is_not_a_verdict(diagnose: Diagnose) -> None:
    assert diagnose([v("plug_feed", 0.0)]).hypotheses[0].probability < 0.5


def test_a_new_part_that_changed_nothing_lowers_that_part(diagnose: Diagnose) -> None:
    silent = [v("plug_feed", 12.3), amps("pump", 0.0)]
    before = {h.part: h.probability for h in diagnose(silent).hypotheses}["pump"]
    after = {h.part: h.probability for h in diagnose(silent, [{"replaced": "pump", "result": "dead"}]).hypotheses}
    assert after["pump"] < 0.5 * before


def test_readings_that_cannot_both_be_right_are_named(diagnose: Diagnose) -> None:
    found = diagnose([v("fuse_out", 12.3), v("relay_out", 3.0), v("switch_out", 12.2), v("plug_feed", 12.1)])
    assert len(found.inconsistent) == 1
    assert "relay_out" in found.inconsistent[0]
    assert "measure this again" in found.inconsistent[0]


def test_the_same_place_read_twice_differently_may_come_and_go(diagnose: Diagnose) -> None:
    found = diagnose([v("plug_feed", 12.3), v("plug_feed", 0.0)])
    assert found.hypotheses[0].fault == "intermittent"
    assert any("both read" in sentence for sentence in found.hypotheses[0].speaks_for)


def test_consistent_readings_name_no_contradiction(diagnose: Diagnose) -> None:
    assert diagnose([v("battery_plus", 12.4), v("plug_feed", 12.2), v("plug_ground", 0.05)]).inconsistent == ()


def test_the_resistance_band_holds_drop_over_current(diagnose: Diagnose) -> None:
    found = diagnose([drop("relay", 2.5), amps("pump", 5.0)])
    assert found.hypotheses[0].part == "relay"
    band = found.hypotheses[0].resistance_ohm
    assert band is not None
    assert band[0] < 0.5 < band[1] < 0.7


def test_the_json_is_the_contract(diagnose: Diagnose) -> None:
    found = json.loads(json.dumps(diagnose([v("plug_feed", 0.0), v("relay_out", 12.3)]).as_json(), allow_nan=False))
    assert list(found) == ["verdict", "hypotheses", "healthy", "next", "inconsistent", "choice", "outside"]
    assert list(found["hypotheses"][0]) == ["part", "fault", "probability", "resistance_ohm", "for", "against"]
    assert list(found["next"][0]) == [
        "kind", "measure", "at", "to", "state", "load", "gain_bits", "minutes", "outcomes", "caution",
    ]  # fmt: skip
    assert set(found["next"][0]["outcomes"][0]) == {"if", "then"}
    order = [h["probability"] for h in found["hypotheses"]]
    assert order == sorted(order, reverse=True)
    assert "service information" in found["verdict"]


def test_a_part_that_fails_more_often_by_your_own_rates_is_suspected_more() -> None:
    circuit = load_circuit("pump-feed")
    readings = measured_from_table({"measured": [v("relay_out", 12.3), v("plug_feed", 0.0)]}, circuit)
    own = Diagnoser(circuit, Rates({"inertia_switch": 20.0}, "mine")).diagnose(*readings)
    assert own.hypotheses[0].part == "inertia_switch"
    assert own.rates_source == "mine"


def test_a_load_known_to_be_dead_is_not_called_healthy() -> None:
    circuit = load_circuit("pump-feed")
    readings = measured_from_table({"measured": [v("pump_plus", 11.9, to="pump_minus")]}, circuit)
    assert Diagnoser(circuit).diagnose(*readings).hypotheses[0].probability < 0.5
    dead = Diagnoser(circuit, complaint="dead").diagnose(*readings)
    assert dead.hypotheses[0].part == "pump"
    assert dead.healthy < 0.15


def test_a_24_volt_circuit_is_judged_at_24_volts() -> None:
    circuit = circuit_from_table(read_table("pump-feed") | {"system_v": 24.0})
    rows = [v("battery_plus", 24.9), v("relay_out", 24.6), v("switch_out", 12.0)]
    readings = measured_from_table({"measured": rows}, circuit)
    assert Diagnoser(circuit).diagnose(*readings).hypotheses[0].part == "inertia_switch"


def test_an_answer_comes_within_a_second_of_work() -> None:
    circuit = load_circuit("pump-feed")
    readings = measured_from_table({"measured": [v("plug_feed", 0.0), v("relay_out", 12.3), v("body", 0.0)]}, circuit)
    began_s = time.process_time()
    Diagnoser(circuit).diagnose(*readings)
    assert time.process_time() - began_s < 1.0
