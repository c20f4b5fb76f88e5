"""Branches, bypasses and contacts of a key's positions: what the file says, drawn, and solved as worked out by hand."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest

from meterlog.circuit import Circuit, load_circuit
from meterlog.circuit.diagnosis import diagnose
from meterlog.circuit.model.chain_text import branch_lines, chain_lines
from meterlog.circuit.model.circuit_file import circuit_from_table
from meterlog.circuit.model.new_circuit import circuit_toml
from meterlog.circuit.model.oddities import oddities
from meterlog.circuit.model.solve import METER_OHM, LoadModel, Shunt, load_model, seen_between, solve
from meterlog.circuit.readings.measurement import Measurement
from meterlog.circuit.readings.trial import Tried
from meterlog.errors import CircuitError
from meterlog.text.toml import parse_toml

TWO_LAMPS = """\
name = "two lamps"
near = []
active = ["key_on"]
part = [
  {id = "battery", kind = "battery", resistance_ohm = 0.02},
  {id = "fuse", kind = "fuse", resistance_ohm = 0.01, rating_a = 10},
  {id = "wire", kind = "wire", resistance_ohm = 0.07},
  {id = "left_wire", kind = "wire", resistance_ohm = 0.0},
  {id = "left", kind = "load", resistance_ohm = 6.0},
  {id = "bolt", kind = "ground", resistance_ohm = 0.1},
]
point = [
  {id = "splice", after = "wire"},
  {id = "right_plus", after = "right_wire"},
  {id = "left_minus", after = "left"},
]
[[branch]]
id = "right side"
after = "splice"
to = "left"
part = [
  {id = "right_wire", kind = "wire", resistance_ohm = 1.0},
  {id = "right", kind = "load", resistance_ohm = 2.0},
]
"""


def circuit_of(text: str) -> Circuit:
    return circuit_from_table(parse_toml(text.encode(), "lamps.toml", CircuitError).values, "lamps.toml")


def solved(circuit: Circuit, ohm: dict[str, float] | None = None, emf: float = 11.0) -> dict[str, tuple[float, float]]:
    """Volts behind each part and its amperes."""
    row = circuit.healthy_ohm()
    for id_, value in (ohm or {}).items():
        row[circuit.part_index[id_]] = value
    found = solve(circuit, row, emf, load_model(circuit))
    return {
        part.id: (float(found.node_v[circuit.after[k]]), float(found.part_a[k])) for k, part in enumerate(circuit.parts)
    }


def test_parallel_loads_share_the_current_as_worked_out_by_hand() -> None:
    """6 ohm beside 1 + 2 ohm are 2 ohm; with 0.2 ohm in common 11 V drive 5 A: 1.667 A left, 3.333 A right."""
    found = solved(circuit_of(TWO_LAMPS))
    assert found["fuse"][1] == pytest.approx(5.0)
    assert found["left"][1] == pytest.approx(5 / 3)
    assert found["right"][1] == pytest.approx(10 / 3)
    assert found["wire"][0] == pytest.approx(10.5)  # 11 V - 5 A * 0.1 ohm
    assert found["right_wire"][0] == pytest.approx(10.5 - 10 / 3)
    assert found["left"][0] == found["right"][0] == pytest.approx(0.5)  # 5 A * 0.1 ohm of ground


def test_a_bad_ground_that_two_loads_share_lets_each_dim_the_other() -> None:
    """With 8.1 ohm in the shared ground: 2 + 8.2 ohm, 1.078 A, 2.157 V across both lamps instead of 10 V."""
    found = solved(circuit_of(TWO_LAMPS), {"bolt": 8.1})
    assert found["fuse"][1] == pytest.approx(11 / 10.2)
    assert found["wire"][0] - found["left"][0] == pytest.approx(2 * 11 / 10.2)


def test_an_open_branch_leaves_the_other_load_alone() -> None:
    found = solved(circuit_of(TWO_LAMPS), {"right_wire": np.inf})
    assert found["fuse"][1] == pytest.approx(11 / 6.2, rel=1e-6)
    assert found["right"][1] == pytest.approx(0.0, abs=1e-8)


BALLAST = """\
name = "coil behind a ballast"
near = []
active = ["key_on", "crank"]
part = [
  {id = "battery", kind = "battery", resistance_ohm = 0.0},
  {id = "fuse", kind = "fuse", resistance_ohm = 0.0},
  {id = "run_contact", kind = "switch", resistance_ohm = 0.5, closed_in = ["key_on"]},
  {id = "ballast", kind = "resistor", resistance_ohm = 1.5, by_design = true},
  {id = "coil", kind = "load", resistance_ohm = 1.0},
  {id = "engine", kind = "ground", resistance_ohm = 0.0},
]
point = [{id = "ballast_in", after = "run_contact"}, {id = "coil_plus", after = "ballast"}]
[[branch]]
id = "start bypass"
after = "fuse"
to = "coil_plus"
part = [{id = "start_contact", kind = "switch", resistance_ohm = 0.0, closed_in = ["crank"]}]
"""


def test_a_ballast_loses_its_voltage_and_its_bypass_gives_it_back() -> None:
    """12 V over 0.5 + 1.5 + 1 ohm is 4 V at the coil; with the START contact closed it has all 12 V."""
    circuit = circuit_of(BALLAST)
    assert solved(circuit, {"start_contact": np.inf}, 12.0)["ballast"][0] == pytest.approx(4.0)
    started = solved(circuit, {"run_contact": np.inf}, 12.0)
    assert started["ballast"][0] == pytest.approx(12.0)
    assert started["start_contact"][1] == pytest.approx(12.0)


def test_a_meter_sees_both_ways_through_a_branched_circuit() -> None:
    """Between 'splice' and the lamps' far ends, 6 ohm, 3 ohm and the battery's 0.2 ohm lie beside one another."""
    circuit = circuit_of(TWO_LAMPS)
    seen, _ = seen_between(circuit, circuit.healthy_ohm(), 6.0, circuit.node("splice"), circuit.node("left_minus"))
    assert float(seen) == pytest.approx(1 / (1 / 6 + 1 / 3 + 1 / 0.2))


def test_node_voltages_of_a_forked_branch_agree_with_nodal_analysis() -> None:
    text = (
        TWO_LAMPS
        + """
[[branch]]
id = "fork"
after = "right_wire"
to = "bolt"
part = [{id = "a", kind = "wire"}, {id = "b", kind = "motor"}, {id = "c", kind = "connector"}]
[[branch]]
id = "tie"
after = "a"
to = "left"
part = [{id = "d", kind = "resistor"}, {id = "e", kind = "resistor"}]
"""
    )
    circuit = circuit_of(text)
    n, rng = len(circuit.parts), np.random.default_rng(3)
    for _ in range(50):
        ohm = 10 ** rng.uniform(-2, 2, n)
        shunt = Shunt(circuit.node("d"), circuit.node("fuse"), 7.0)
        found = solve(circuit, ohm, 12.0, LoadModel(2.0, 6.0, 12.0, constant_share=0.0), [shunt])
        g, i = np.zeros((n, n)), np.zeros(n)
        edges = [(circuit.before[k], circuit.after[k], ohm[k] + 6.0 * (k == circuit.load)) for k in range(n)]
        for a, b, r in [*edges, (shunt.node_a, shunt.node_b, 7.0)]:
            g[a, a] += 1 / r
            g[b, b] += 1 / r
            g[a, b] -= 1 / r
            g[b, a] -= 1 / r
        i[0] += 12.0 / ohm[0]
        real = [k for k in range(n) if circuit.after[k] == k and k != circuit.minus]
        expected = np.linalg.solve(g[np.ix_(real, real)], i[real])
        np.testing.assert_allclose(found.node_v[real], expected, atol=1e-8)


def test_a_branch_is_drawn_where_it_leaves_and_says_where_it_joins() -> None:
    circuit = circuit_of(TWO_LAMPS)
    drawn = "\n".join(chain_lines(circuit))
    assert "  |   o splice, 5 min\n  |-. branch right side\n  | | right_wire  wire, 1 ohm" in drawn
    assert "  | * right       load, 2 ohm\n  | '- joins again behind left, before bolt\n  | left_wire" in drawn
    assert branch_lines(circuit) == ["right side: from wire: right_wire - right, to left"]
    assert "switch, closed at crank" in "\n".join(chain_lines(circuit_of(BALLAST)))


@pytest.mark.parametrize("text", [TWO_LAMPS, BALLAST])
def test_a_written_branch_reads_back_the_same(text: str) -> None:
    circuit = circuit_of(text)
    written, reason = circuit_toml(circuit)
    assert reason == ""
    assert circuit_of(written) == circuit


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('after = "splice"', 'after = "splyce"', "line 18: branch 'right side': 'after' must be .*'splyce'.*near it"),
        ('to = "left"', 'to = "right"', "line 18: branch 'right side': 'to' must be a part or point of the chain"),
        ('to = "left"', 'to = "wire"', "line 18: .*joins again where it leaves, behind 'wire'"),
        ('to = "left"', 'two = "left"', "line 18: branch 'right side': unknown key 'two'"),
        ('"right_wire", kind', '"left_wire", kind', "line 22: the id 'left_wire' is used twice"),
        ('"right", kind = "load"', '"right", kind = "lode"', "line 23: .*part 'right': 'kind' must be one of"),
        ("rating_a = 10", 'closed_in = ["crank"]', "line 6: part 'fuse': 'closed_in' belongs to a contact"),
        ('active = ["key_on"]', 'active = ["on"]', "line 3: 'active' must be a list of states .*not \\['on'\\]"),
    ],
)
def test_what_is_wrong_with_a_branch_is_named_with_its_line(old: str, new: str, said: str, tmp_path: Path) -> None:
    path = tmp_path / "lamps.toml"
    path.write_text(TWO_LAMPS.replace(old, new))
    with pytest.raises(CircuitError, match=said):
        load_circuit(path)


def test_a_short_that_is_left_with_the_pump_unplugged_is_elsewhere_on_its_fuse() -> None:
    """0.6 ohm of leads and short at the pump's plug, the pump apart: a wire, or the heater on the same fuse."""
    circuit = load_circuit("pump-and-heater")
    nothing = [read("fuse_in", 12.5), read("fuse_out", 0.0), read("relay_out", 0.0)]
    blew = [Tried("blew", replaced="fuse")]
    ohms = [
        Measurement("resistance", at, state="isolated", load="unplugged", value=0.6)
        for at in ("plug_feed", "shared_feed")
    ]
    before, after = (
        {one.part: one.probability for one in diagnose(circuit, found, blew).hypotheses if one.probability > 0.1}
        for found in (nothing, nothing + ohms)
    )
    assert "pump" in before
    assert set(after) == {"heater", "heater_wire", "relay_wire", "feed_wire"}


def test_a_meter_hardly_loads_a_branch() -> None:
    circuit = circuit_of(TWO_LAMPS)
    meter = Shunt(circuit.node("right_plus"), circuit.minus, METER_OHM)
    bare, hung = (solve(circuit, circuit.healthy_ohm(), 11.0, load_model(circuit), s) for s in ((), (meter,)))
    np.testing.assert_allclose(bare.node_v, hung.node_v, atol=1e-5)


@pytest.mark.parametrize(
    ("text", "old", "new", "said"),
    [
        (TWO_LAMPS, "rating_a = 10", "rating_a = 5", "fuse 'fuse' is rated 5 A, and its loads draw 8 A"),
        (TWO_LAMPS, 'after = "splice"', 'after = "battery"', "no fuse stands between battery and 'right'"),
        (
            TWO_LAMPS,
            'after = "splice"\nto = "left"',
            'after = "left"\nto = "splice"',
            "runs against the current",
        ),
        (TWO_LAMPS, '"right", kind = "load"', '"right", kind = "resistor"', "neither a load nor a contact"),
        (
            BALLAST,
            'closed_in = ["crank"]',
            'closed_in = ["run"]',
            "nothing feeds 'coil' at crank",
        ),
        (BALLAST, 'closed_in = ["crank"]', 'closed_in = ["crank", "run"]', "'start_contact' is closed at run, which"),
    ],
)
def test_what_is_odd_about_a_branch_is_named(text: str, old: str, new: str, said: str) -> None:
    assert old in text
    found = oddities(circuit_of(text.replace(old, new)))
    assert any(re.search(said, sentence) for sentence in found), found


def test_a_ballast_with_its_bypass_is_not_odd() -> None:
    assert oddities(circuit_of(BALLAST)) == []


def read(at: str, value: float, state: str = "key_on", to: str = "battery_minus") -> Measurement:
    return Measurement("voltage", at, to, state, value=value, error=0.05)


@pytest.mark.parametrize(
    ("text", "readings", "part"),
    [
        # 12.4 V: the left lamp alone draws 2 A, so 12.2 V stand at the splice, 0.2 V over the ground
        (TWO_LAMPS, [read("splice", 12.2), read("right_plus", 0.2), read("left_minus", 0.2)], "right_wire"),
        # 12.4 V over 10.2 ohm are 1.216 A: 0.12 V lost before the splice, and 9.85 V left behind both lamps
        (TWO_LAMPS, [read("splice", 12.28), read("left_minus", 9.85)], "bolt"),
        # at key-on a third of 12.4 V at the coil, as meant; nothing at crank, where the bypass should give all of it
        (BALLAST, [read("coil_plus", 4.13), read("coil_plus", 0.0, "crank")], "start_contact"),
        # while cranking all is well, and with the key let go the ballast has nothing
        (BALLAST, [read("ballast_in", 0.0), read("coil_plus", 10.8, "crank")], "run_contact"),
    ],
)
def test_a_fault_on_a_branch_is_found_by_readings_worked_out_by_hand(
    text: str, readings: list[Measurement], part: str
) -> None:
    circuit = circuit_of(text)
    found = diagnose(circuit, [*readings, *readings])
    assert found.hypotheses[0].part == part, found.verdict
