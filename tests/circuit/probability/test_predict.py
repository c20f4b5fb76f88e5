"""Checks that a cell shows what the network solved with the meter in it gives, and moves as predicted."""

import numpy as np
import pytest

from meterlog.circuit import load_circuit
from meterlog.circuit.diagnosis import Diagnoser
from meterlog.circuit.faults.cells import FAULTS
from meterlog.circuit.faults.fault_cells import all_cells
from meterlog.circuit.faults.fault_rates import DEFAULT_RATES, Rates
from meterlog.circuit.model.solve import Shunt, load_model, solve
from meterlog.circuit.probability import predict
from meterlog.circuit.probability.predict import Network
from meterlog.circuit.probability.unknowns import UNKNOWNS
from meterlog.circuit.readings.measurement import Measurement


@pytest.fixture(scope="module")
def network() -> Network:
    circuit = load_circuit("pump-feed")
    return Network(circuit, all_cells(circuit, Rates()))


def test_the_prior_is_a_probability(network: Network) -> None:
    assert network.cells.prior.sum() == pytest.approx(1.0)
    assert (network.cells.prior >= 0).all()


def test_two_faults_at_once_hold_their_share_of_the_prior_and_nothing_wrong_its_own(network: Network) -> None:
    cells = network.cells
    pairs = cells.part[:, 1] >= 0
    healthy = cells.fault == FAULTS.index("healthy")
    assert cells.prior[pairs].sum() == pytest.approx(DEFAULT_RATES["pair"], abs=0.02)
    assert cells.prior[healthy].sum() == pytest.approx(DEFAULT_RATES["healthy"], abs=0.03)


@pytest.mark.parametrize(
    ("at", "to"), [("plug_feed", "battery_minus"), ("plug_feed", "plug_ground"), ("body", "fuse_in")]
)
@pytest.mark.parametrize("load", ["connected", "unplugged"])
def test_volts_are_those_of_the_network_with_the_meter_in_it(network: Network, at: str, to: str, load: str) -> None:
    circuit, cells = network.circuit, network.cells
    found = network.predict(Measurement("voltage", at, to, load=load))
    i, j = circuit.node(at), circuit.node(to)
    model = load_model(circuit, current_share=cells.share, stalled=cells.stalled)
    ohm = network.resistances("key_on", (circuit.load,) if load == "unplugged" else ())
    truth = solve(circuit, ohm, cells.source_v[:, 0], model, [Shunt(i, j), *network.neighbours(), *network.leaks()])
    np.testing.assert_allclose(found.mean, truth.node_v[:, i] - truth.node_v[:, j], atol=0.02)


@pytest.mark.parametrize(
    ("at", "to", "part"),
    [
        ("plug_feed", "battery_minus", "feed_wire"),
        ("relay_out", "plug_feed", "feed_wire"),
        ("plug_feed", "relay_out", "feed_wire"),
        ("plug_ground", "body", "ground_wire"),
    ],
)
def test_a_good_parts_own_resistance_moves_a_reading_as_the_network_says(
    network: Network, at: str, to: str, part: str
) -> None:
    circuit, cells = network.circuit, network.cells
    k = circuit.part_index[part]
    slope = network.predict(Measurement("voltage", at, to)).slope[0, len(UNKNOWNS) + k]
    model = load_model(circuit)
    step = 0.01
    ohm = cells.ohm[0].copy()
    usual = solve(circuit, ohm, 12.4, model)
    ohm[k] += step * network.good.drop_v(usual.part_a)[k] / usual.part_a[k]
    moved, still = solve(circuit, ohm, 12.4, model).node_v, usual.node_v
    change = (moved - still)[circuit.node(at)] - (moved - still)[circuit.node(to)]
    assert slope == pytest.approx(float(change) / step, rel=0.02)


def test_ohms_add_up_with_the_leads(network: Network) -> None:
    found = network.predict(Measurement("resistance", "plug_ground", "body", "isolated"))
    bolt = network.cells.part[:, 0] == network.circuit.part_index["ground_bolt"]
    single = np.flatnonzero(bolt & (network.cells.part[:, 1] < 0) & np.isfinite(network.cells.ohm).all(axis=1))
    shown = np.exp(found.mean[single]) - 0.5
    wire = network.circuit.part_index["ground_wire"]
    expected = network.cells.ohm[single][:, [wire, wire + 1]].sum(axis=1) + 0.25
    np.testing.assert_allclose(shown, expected, rtol=1e-6)
    nulled = network.predict(Measurement("resistance", "plug_ground", "body", "isolated", nulled=True))
    np.testing.assert_allclose(np.exp(nulled.mean[single]) - 0.5, expected - 0.25, rtol=1e-6)


def test_many_cells_solved_in_pieces_show_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    circuit = load_circuit("pump-feed")
    cells = all_cells(circuit, Rates())
    asked = [Measurement("voltage", "plug_feed"), Measurement("resistance", "plug_ground", "body", "isolated")]
    whole = Network(circuit, cells).predict_all(asked)
    monkeypatch.setattr(predict, "CHUNK", 500)
    for one, other in zip(whole, Network(circuit, cells).predict_all(asked), strict=True):
        assert np.allclose(one.mean, other.mean, atol=0.01, equal_nan=True)  # what hangs on nothing differs by mV
        assert np.allclose(one.slope, other.slope, atol=0.01)


def test_what_is_picked_up_at_one_pair_of_places_says_nothing_of_another_pair_nor_of_the_leads() -> None:
    """With the relay open and the ground side open too, the stretch between them hangs on nothing."""
    drops = [Measurement("voltage_drop", "fuse_out", "relay_out", value=0.11) for _ in range(2)]
    more = [
        Measurement("voltage", "fuse_out", value=12.6),
        Measurement("voltage", "relay_out", value=-0.02),
        Measurement("voltage", "pump_plus", value=0.0),
        Measurement("voltage", "relay_out", state="crank", value=11.2),
        Measurement("voltage", "pump_plus", "pump_minus", "crank", value=11.2),
    ]
    known = Diagnoser(load_circuit("pump-feed")).weigh([*more, *drops])
    assert known.outside < 0.25
    assert known.bad.max() < 0.25
