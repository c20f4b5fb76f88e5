"""The next measurement: worth its minutes, explained, and never where it must not be."""

import pytest

from meterlog.circuit import load_circuit, template_names
from meterlog.circuit.candidates import candidates, minutes_for
from meterlog.circuit.diagnosis import Diagnoser, diagnose
from meterlog.circuit.load import circuit_from_table, read_table
from meterlog.circuit.measured import Measurement


@pytest.fixture(scope="module")
def tool() -> Diagnoser:
    return Diagnoser(load_circuit("pump-feed"))


def test_suggestions_come_in_order_of_information_per_minute(tool: Diagnoser) -> None:
    found = tool.diagnose([Measurement("voltage", "plug_feed", value=0.0)], suggestions=8).next
    worth = [s.gain_bits / s.minutes for s in found]
    assert worth == sorted(worth, reverse=True)
    assert worth[0] > 0


def test_between_two_suspects_it_asks_for_the_point_between_them(tool: Diagnoser) -> None:
    readings = [
        Measurement("voltage", "plug_feed", value=0.0),
        Measurement("voltage", "plug_feed", state="crank", value=0.0),
        Measurement("voltage", "relay_out", value=12.3),
    ]
    best = tool.diagnose(readings).next[0]
    assert "switch_out" in (best.measurement.at, best.measurement.to)
    assert best.gain_bits > 0.5
    said = " ".join(then for _, then in best.outcomes)
    assert "inertia_switch" in said
    assert "feed_wire" in said


def test_a_place_once_reached_stays_open() -> None:
    circuit = load_circuit("pump-feed")
    m = Measurement("voltage", "plug_feed")
    assert minutes_for(circuit, m, []) > minutes_for(circuit, m, [Measurement("voltage", "plug_feed", "plug_ground")])


@pytest.mark.parametrize("name", template_names())
def test_what_was_measured_may_be_looked_at_again_once_and_states_are_the_circuits_own(name: str) -> None:
    circuit = load_circuit(name)
    first = candidates(circuit, [])
    assert set(first[:5]) <= set(candidates(circuit, first[:5]))
    assert not set(first[:5]) & set(candidates(circuit, first[:5] * 2))
    assert {m.state for m in first} <= {*circuit.active, "isolated"}


def test_ohms_unplugged_and_cranking_carry_their_cautions(tool: Diagnoser) -> None:
    found = tool.diagnose([], suggestions=100).next
    ohms = next(s for s in found if s.measurement.quantity == "resistance")
    assert "de-energised" in ohms.caution
    unplugged = next(s for s in found if s.measurement.load == "unplugged" and s.measurement.quantity == "voltage")
    assert "proves little" in unplugged.caution
    crank = next(s for s in found if s.measurement.state == "crank")
    assert "may move" in crank.caution
    pump = next(s for s in found if s.measurement.at == "pump_plus")
    assert "Fuel vapour" in pump.caution


def test_cheap_access_is_asked_first() -> None:
    table = read_table("pump-feed")
    circuit = circuit_from_table(table)
    dear = [dict(row, access_min=600 if row["id"] == "fuse_out" else row["access_min"]) for row in table["point"]]  # type: ignore[attr-defined]
    other = circuit_from_table(table | {"point": dear})
    assert diagnose(circuit, []).next[0].measurement.at == "fuse_out"
    assert diagnose(other, []).next[0].measurement.at != "fuse_out"
