"""Nothing takes a circuit for a plain chain: on random circuits with branches all agrees with a walk along wires."""

from __future__ import annotations

from collections.abc import Collection

import numpy as np
import pytest

from meterlog.circuit import Circuit
from meterlog.circuit.faults.fault_cells import all_cells
from meterlog.circuit.faults.fault_rates import Rates
from meterlog.circuit.model.circuit_file import circuit_from_table
from meterlog.circuit.model.solve import LoadModel, load_model, solve
from meterlog.circuit.next_measurement.access import minutes_for
from meterlog.circuit.next_measurement.attempts import MOST_LEAD_A, attempts
from meterlog.circuit.next_measurement.candidates import MOST_IN_SERIES_A, candidates
from meterlog.circuit.probability.predict import Network
from meterlog.circuit.readings.impossible_values import impossible
from meterlog.circuit.readings.measurement import Measurement
from meterlog.circuit.readings.suspicious_readings import stays_on, suspicious

SEEDS = range(12)
LOADS = ("motor", "load")


def any_circuit(seed: int) -> Circuit:
    """Two or three loads on one battery, each with its own contacts, and perhaps a bypass."""
    rng = np.random.default_rng(seed)

    def row(id_: str, kind: str, **more: object) -> dict[str, object]:
        return {"id": id_, "kind": kind, "access_min": float(rng.integers(1, 60)), **more}

    def contact(name: str) -> dict[str, object]:
        return row(name, "relay_contact", command=f"{name}_coil") if rng.random() < 0.7 else row(name, "switch")

    def fuse(name: str) -> list[dict[str, object]]:
        return [row(name, "fuse")] if rng.random() < 0.6 else []

    chain = [
        *(row("battery", "battery"), row("clamp", "connector"), *fuse("fuse"), contact("relay"), row("feed", "wire")),
        *(row("plug_in", "connector"), row("pump", "motor", current_a=float(rng.uniform(2, 15)))),
        *(row("plug_out", "connector"), row("return", "wire"), row("bolt", "ground"), row("minus_clamp", "connector")),
    ]
    leave = [str(part["id"]) for part in chain[:-6] if part["id"] != "battery"]
    branches: list[dict[str, object]] = []
    ids = [str(part["id"]) for part in chain[:-1]]
    for k in range(int(rng.integers(1, 3))):
        lamp = row(f"lamp_{k}", "load", current_a=float(rng.uniform(0.5, 20)))
        parts = [*fuse(f"fuse_{k}"), contact(f"relay_{k}"), row(f"wire_{k}", "wire"), lamp, row(f"back_{k}", "wire")]
        to = str(rng.choice(["plug_out", "return", "bolt", "minus_clamp"]))
        branches.append({"id": f"side_{k}", "after": str(rng.choice(leave)), "to": to, "part": parts})
        ids += [str(part["id"]) for part in parts[:-1]]
    if rng.random() < 0.5:
        branches.append({"id": "past", "after": "clamp", "to": "relay", "part": [row("pressed", "switch")]})
    points = [{"id": f"behind_{id_}", "after": id_, "access_min": 3} for id_ in ids]
    table = {"near": [], "active": ["key_on", "run"], "part": chain, "branch": branches, "point": points}
    return circuit_from_table(table)


def reached(circuit: Circuit, out: Collection[int] = ()) -> set[int]:
    """Walk from battery + as far as it goes without a load and without the parts that are out."""
    ways = [circuit.across(k) for k in range(1, len(circuit.parts)) if k not in {*out, *circuit.loads}]
    found, before = {0}, set[int]()
    while found != before:
        before = set(found)
        found |= {node for a, b in ways for node in (a, b) if a in before or b in before}
    return found


def points(circuit: Circuit) -> list[tuple[str, int]]:
    return [(point.id, circuit.node(point.id)) for point in circuit.points]


@pytest.mark.parametrize("seed", SEEDS)
def test_crossed_leads_are_named_wherever_the_feed_leads(seed: int) -> None:
    circuit = any_circuit(seed)
    fed = reached(circuit)
    for id_, node in points(circuit):
        said = suspicious(Measurement("voltage", id_, value=-12.0), circuit)
        assert ("the leads are crossed" in said) == (node in fed), id_


@pytest.mark.parametrize("seed", SEEDS)
def test_what_is_live_with_the_key_off_is_named_where_a_contact_should_cut_it_off(seed: int) -> None:
    circuit = any_circuit(seed)
    contacts = list(circuit.commands.values())
    fed, left = reached(circuit), reached(circuit, contacts)
    for id_, node in points(circuit):
        said = stays_on([Measurement("voltage", id_, state="off", value=12.4)], circuit)
        assert bool(said) == (node in fed - left), id_
        if said:
            named = next(k for k in contacts if f"though {circuit.parts[k].id} should be open" in said)
            assert node not in reached(circuit, [named]) or circuit.bypassed(named)


@pytest.mark.parametrize("seed", SEEDS)
def test_across_a_part_is_what_that_part_loses(seed: int) -> None:
    circuit = any_circuit(seed)
    ohm = circuit.healthy_ohm()
    found = solve(circuit, ohm, 12.0, load_model(circuit))
    for k, part in enumerate(circuit.parts[1:], 1):
        at, to = circuit.ends(part.id, part.id)
        lost = found.part_a[k] * ohm[k] + (found.load_v if k == circuit.load else 0.0)
        assert found.node_v[at] - found.node_v[to] == pytest.approx(lost, abs=1e-9), part.id
    assert circuit.ends("battery", "battery") == (0, circuit.minus)


@pytest.mark.parametrize("seed", SEEDS)
def test_no_current_is_refused_that_a_shorted_load_could_draw(seed: int) -> None:
    circuit = any_circuit(seed)
    for k in circuit.loads:
        ohm, whole = circuit.healthy_ohm(), load_model(circuit)
        ohm[k] = 0.0
        model = LoadModel(1.0, 1e-3, 12.0, stalled=True) if k == circuit.load else whole
        amps = float(solve(circuit, ohm, 12.6, model).part_a[0])
        assert impossible("current", amps, circuit) == ""
    assert impossible("current", 40 * amps + 200, circuit) != ""


@pytest.mark.parametrize("seed", SEEDS)
def test_a_meter_stands_in_series_only_where_it_carries_what_flows_there(seed: int) -> None:
    circuit = any_circuit(seed)
    every = candidates(circuit, [])
    for m in every:
        assert 0 < minutes_for(circuit, m, []) < 100
        if m.quantity == "current":
            k = circuit.part_index[m.at]
            assert k in circuit.upstream[circuit.load]
            assert circuit.carried_a[k] < MOST_IN_SERIES_A
    assert any(m.at.startswith("behind_wire_") for m in every), "places on a branch count too"


@pytest.mark.parametrize("seed", SEEDS)
def test_only_what_the_load_hangs_on_is_bridged_or_swapped_and_with_a_lead_that_carries_it(seed: int) -> None:
    circuit = any_circuit(seed)
    for attempt in attempts(circuit, [], []):
        row = attempt.row
        part = row.get("bridged") or row.get("replaced")
        if isinstance(part, str):
            k = circuit.part_index[part]
            ohm = circuit.healthy_ohm()
            ohm[k] = np.inf
            if circuit.bypassed(k):
                ohm[circuit.part_index["pressed"]] = np.inf
            dead = float(solve(circuit, ohm, 12.0, load_model(circuit)).load_a) < 0.1
            assert dead or part == "pressed"
            assert "replaced" in row or circuit.carried_a[k] <= MOST_LEAD_A


@pytest.mark.parametrize("seed", [1, 4])
def test_ohms_to_ground_show_a_short_on_the_branch_where_they_are_read(seed: int) -> None:
    circuit = any_circuit(seed)
    cells = all_cells(circuit, Rates())
    network = Network(circuit, cells)
    for k in np.unique(cells.short_at[cells.short_at >= 0]).tolist():
        point = next((id_ for id_, node in points(circuit) if node == circuit.before[k]), None)
        if point is None or circuit.parts[k].kind in LOADS:
            continue
        cell = int(np.flatnonzero(cells.short_at == k)[0])
        shown = np.exp(network.predict(Measurement("resistance", point, state="isolated", value=1.0)).mean[cell]) - 0.5
        assert shown < 1.0, circuit.parts[k].id
