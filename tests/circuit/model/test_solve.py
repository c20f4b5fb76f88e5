"""The network solver agrees with plain nodal analysis, and with what a mechanic knows a meter shows."""

import numpy as np
import pytest

from meterlog.circuit import Circuit, circuit_from_table
from meterlog.circuit.model.solve import LoadModel, Shunt, load_current, load_model, solve, unplug


@pytest.fixture
def circuit() -> Circuit:
    kinds = ["battery", "fuse", "wire", "connector", "motor", "connector", "ground"]
    part: list[dict[str, object]] = [{"id": f"p{k}", "kind": kind} for k, kind in enumerate(kinds)]
    part[4] |= {"current_a": 5.0, "resistance_ohm": 1.0}
    return circuit_from_table({"name": "seven parts", "part": part})


def nodal(circuit: Circuit, ohm: np.ndarray, emf: float, load_ohm: float, shunts: list[Shunt]) -> np.ndarray:
    """Node voltages by the textbook: conductance matrix, Norton source; the load in series with its own entry."""
    n = len(ohm)
    g, i = np.zeros((n, n)), np.zeros(n)

    def add(a: int, b: int, conductance: float) -> None:
        g[a, a] += conductance
        g[b, b] += conductance
        g[a, b] -= conductance
        g[b, a] -= conductance

    for k in range(n):
        whole = ohm[k] + (load_ohm if k == circuit.load else 0.0)
        add((k - 1) % n, k, 1 / whole)
    i[0] += emf / ohm[0]
    for shunt in shunts:
        add(shunt.node_a, shunt.node_b, 1 / float(np.asarray(shunt.ohm)))
    return np.append(np.linalg.solve(g[:-1, :-1], i[:-1]), 0.0)


def test_node_voltages_agree_with_nodal_analysis_for_any_resistances_and_shunts(circuit: Circuit) -> None:
    rng = np.random.default_rng(7)
    for _ in range(100):
        ohm = 10 ** rng.uniform(-3, 3, 7)
        pairs = [rng.choice(7, 2, replace=False) for _ in range(3)]
        shunts = [Shunt(int(a), int(b), 10 ** rng.uniform(0, 7)) for a, b in pairs]
        found = solve(circuit, ohm, 12.0, LoadModel(5.0, 2.4, 12.0, constant_share=0.0), shunts)
        np.testing.assert_allclose(found.node_v, nodal(circuit, ohm, 12.0, 2.4, shunts), atol=1e-7)


def test_currents_obey_ohms_law_in_every_part(circuit: Circuit) -> None:
    ohm = circuit.healthy_ohm() + 0.2
    found = solve(circuit, ohm, 12.6, load_model(circuit))
    before = np.roll(found.node_v, 1)
    drops = before - found.node_v
    for k in range(1, 7):
        own = float(found.load_v) if k == circuit.load else 0.0
        assert drops[k] == pytest.approx(ohm[k] * found.part_a[k] + own, abs=1e-9)


def test_a_meter_sees_full_voltage_through_a_bad_ground_when_the_load_is_unplugged(circuit: Circuit) -> None:
    ohm = circuit.healthy_ohm()
    ohm[6] = 1000.0
    meter = Shunt(2, 5)
    apart = solve(circuit, unplug(circuit, ohm, [circuit.load]), 12.4, load_model(circuit), [meter])
    assert apart.node_v[2] - apart.node_v[5] == pytest.approx(12.4, abs=0.01)
    loaded = solve(circuit, ohm, 12.4, load_model(circuit), [meter])
    assert loaded.node_v[2] - loaded.node_v[5] < 0.1


def test_an_open_ground_lifts_everything_before_it_to_the_battery(circuit: Circuit) -> None:
    ohm = circuit.healthy_ohm()
    ohm[6] = np.inf
    found = solve(circuit, ohm, 12.4, load_model(circuit), [Shunt(5, 6)])
    assert found.node_v[5] == pytest.approx(12.4, abs=0.02)
    assert float(found.load_a) == pytest.approx(0.0, abs=1e-5)


def test_a_motor_keeps_its_current_until_it_stalls_and_is_its_winding_below() -> None:
    load = LoadModel(5.0, 1.0, 12.0)
    volts, amps = (np.array(x) for x in zip(*[_at(load, v) for v in (12.0, 8.0, 3.0)], strict=True))
    assert amps[0] == pytest.approx(5.0, rel=1e-3)
    assert 4.0 < amps[1] < 5.0
    assert amps[2] == pytest.approx(volts[2] / 1.0, rel=1e-3)


def _at(load: LoadModel, emf_v: float) -> tuple[float, float]:
    volts, amps, _ = load_current(load, np.array(emf_v), np.array(1e-6))
    return float(volts), float(amps)


def test_a_batch_of_resistances_is_solved_at_once(circuit: Circuit) -> None:
    ohm = np.tile(circuit.healthy_ohm(), (4, 1))
    ohm[:, 1] = [0.01, 0.5, 5.0, np.inf]
    found = solve(circuit, ohm, 12.4, load_model(circuit), [Shunt(1, 6)])
    assert found.node_v.shape == (4, 7)
    assert np.all(np.diff(found.node_v[:, 1]) < 0)


def test_a_load_that_draws_twice_the_current_has_half_the_resistance_and_a_motor_keeps_its_winding() -> None:
    rows = [{"id": "battery", "kind": "battery"}, {"id": "wire", "kind": "wire"}, {"id": "back", "kind": "ground"}]
    for kind, expected_ohm in (("load", 1.2), ("motor", 2.4)):
        load = {"id": "it", "kind": kind, "current_a": 5.0, "resistance_ohm": 2.4}
        circuit = circuit_from_table({"name": "four parts", "part": [*rows[:2], load, rows[2]]})
        doubled = load_model(circuit, current_share=2.0)
        assert float(np.asarray(doubled.current_a)) == pytest.approx(10.0)
        assert float(np.asarray(doubled.winding_ohm)) == pytest.approx(expected_ohm)
