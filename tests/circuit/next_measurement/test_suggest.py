"""The next measurement: worth its minutes, explained, and never where it must not be."""

from collections.abc import Sequence
from dataclasses import replace

import pytest

from meterlog.circuit import load_circuit, template_names
from meterlog.circuit.diagnosis import Diagnoser, diagnose
from meterlog.circuit.model.circuit_file import circuit_from_table, read_table
from meterlog.circuit.next_measurement.access import minutes_for
from meterlog.circuit.next_measurement.candidates import candidates
from meterlog.circuit.readings.measurement import Measurement


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


def _places(measurements: Sequence[Measurement]) -> set[Measurement]:
    """Measurements without their value: NaN, where none was taken yet, is never equal to itself."""
    return {replace(m, value=0.0) for m in measurements}


@pytest.mark.parametrize("name", template_names())
def test_what_was_measured_may_be_looked_at_again_once_and_states_are_the_circuits_own(name: str) -> None:
    circuit = load_circuit(name)
    first = candidates(circuit, [])
    assert _places(first[:5]) <= _places(candidates(circuit, first[:5]))
    assert not _places(first[:5]) & _places(candidates(circuit, first[:5] * 2))
    assert {m.state for m in first} <= {*circuit.active, "isolated", *(["off"] if circuit.commands else [])}


def test_ohms_unplugged_and_cranking_carry_their_cautions(tool: Diagnoser) -> None:
    found = tool.diagnose([], suggestions=100).next
    ohms = next(s for s in found if s.measurement.quantity == "resistance")
    assert "de-energised" in " ".join(ohms.notes)
    unplugged = next(s for s in found if s.measurement.load == "unplugged" and s.measurement.quantity == "voltage")
    assert "proves little" in " ".join(unplugged.notes)
    crank = next(s for s in found if s.measurement.state == "crank")
    assert "may move" in " ".join(crank.notes)
    pump = next(s for s in found if s.measurement.at == "pump_plus")
    assert "Fuel vapour" in " ".join(pump.notes)


def test_cheap_access_is_asked_first() -> None:
    table = read_table("pump-feed")
    circuit = circuit_from_table(table)
    dear = [dict(row, access_min=600 if row["id"] == "fuse_out" else row["access_min"]) for row in table["point"]]  # type: ignore[attr-defined]
    other = circuit_from_table(table | {"point": dear})
    assert diagnose(circuit, []).next[0].measurement.at == "fuse_out"
    assert diagnose(other, []).next[0].measurement.at != "fuse_out"


@pytest.mark.parametrize("name", template_names())
def test_no_measurement_is_suggested_under_two_names(name: str) -> None:
    circuit = load_circuit(name)
    seen = [
        (m.quantity == "resistance", m.quantity == "current", m.state, m.load, *sorted(map(circuit.node, (m.at, m.to))))
        for m in candidates(circuit, [])
        if m.at not in circuit.commands and m.at != m.to
    ]
    assert len(seen) == len(set(seen))
    drop = Measurement("voltage_drop", "body", value=0.02)
    if "body" in circuit.point_of:
        assert Measurement("voltage", "body") not in candidates(circuit, [drop, drop])


WIRE = [
    Measurement("voltage", "switch_out", value=12.4),
    Measurement("voltage", "plug_feed", value=4.0),
    Measurement("voltage", "plug_feed", value=4.0),
    Measurement("voltage", "body", value=0.02),
    Measurement("voltage", "switch_out", value=12.4),
]


def test_when_one_is_sure_nothing_of_little_use_is_suggested_but_the_proof_of_the_repair(tool: Diagnoser) -> None:
    found = tool.diagnose(WIRE)
    assert found.decided == "feed_wire"
    assert all(s.gain_bits >= 0.05 for s in found.next)
    assert "Put feed_wire right and take the same readings again" in found.enough
    assert "would tell much more" in tool.diagnose(WIRE[:1], suggestions=0).enough


def test_a_second_look_says_why_and_a_coil_is_measured_across_its_terminals(tool: Diagnoser) -> None:
    found = tool.diagnose(WIRE[:2], suggestions=100).next
    again = next(s for s in found if s.measurement.at == "plug_feed" and s.measurement.load == "connected")
    assert again.notes[0].startswith("Taken once already")
    coil = next(s for s in tool.diagnose([], suggestions=100).next if s.measurement.at == "relay_coil")
    assert "Across the coil's two terminals" in " ".join(coil.notes)
    assert coil.measurement.place.startswith("across relay_coil ")


def test_an_outcome_that_would_nearly_always_come_is_split_at_the_value_that_tells(tool: Diagnoser) -> None:
    readings = [Measurement("voltage", at, value=value) for at, value in (("fuse_in", 12.4), ("plug_feed", 12.2))]
    for s in tool.diagnose(readings, suggestions=100).next:
        if s.outcomes[0][0].startswith("below "):
            low, high = (seen.split(" (")[0] for seen, _ in s.outcomes)
            assert low.removeprefix("below ") == high.removesuffix(" or more")
            break
    else:
        pytest.fail("nothing was split")


@pytest.mark.parametrize(
    ("readings", "slip"),
    [
        ({"battery_plus": 12.5, "fuse_out": 0.0, "relay_out": 12.3}, "fuse_out"),
        ({"battery_plus": 12.5, "plug_feed": 0.0, "pump_plus": 12.2}, "plug_feed"),
        ({"battery_plus": 12.5, "fuse_in": 8.0, "fuse_out": 12.4}, "fuse_in"),
        ({"battery_plus": 12.5, "relay_out": 1.24, "plug_feed": 12.3, "plug_ground": 0.03}, "relay_out"),
    ],
)
def test_a_reading_that_contradicts_the_others_is_taken_again_first(
    tool: Diagnoser, readings: dict[str, float], slip: str
) -> None:
    found = tool.diagnose([Measurement("voltage", at, value=value) for at, value in readings.items()])
    first = found.next[0]
    assert (first.measurement.at, first.measurement.to, first.measurement.state) == (slip, "battery_minus", "key_on")
    assert first.minutes == 1.0, "its place is open, so it costs a minute and no more"
    assert first.again.startswith("It fits none of what is likely")
    assert first.again in first.as_json()["caution"]  # type: ignore[operator]
    assert any(f"{slip} to battery_minus at key-on" in sentence for sentence in found.inconsistent)


def test_readings_that_agree_are_not_taken_again_first(tool: Diagnoser) -> None:
    readings = {"battery_plus": 12.5, "fuse_out": 12.45, "relay_out": 12.4, "plug_feed": 12.3}
    found = tool.diagnose([Measurement("voltage", at, value=value) for at, value in readings.items()])
    assert not found.next[0].again
    assert not any("fits none" in step.again for step in found.next)


def test_a_reading_of_a_place_that_it_would_not_have_asked_for_can_be_asked_for_again(tool: Diagnoser) -> None:
    odd = Measurement("voltage", "fuse_in", "pump_minus", value=3.0)
    rest = [Measurement("voltage", at, value=12.4) for at in ("fuse_in", "plug_feed", "pump_plus")]
    found = tool.diagnose([*rest, Measurement("voltage", "pump_minus", value=0.05), odd], suggestions=8)
    assert ("fuse_in", "pump_minus") in {(step.measurement.at, step.measurement.to) for step in found.next}
