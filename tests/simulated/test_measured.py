"""The van measured anywhere: every fault can be set, and shows where the trade says that it shows."""

from __future__ import annotations

import math
from itertools import combinations

import pytest

from meterlog.circuit.faults.cells import FAULTS
from meterlog.circuit.model.circuit_file import load_circuit
from meterlog.driver import open_address
from meterlog.errors import MeterlogError
from meterlog_drivers.simulated.measured import MeasuredVan
from meterlog_drivers.simulated.van.faults import every_fault, faults_named, kinds, without


def van(fault: str, seed: int = 3) -> MeasuredVan:
    return MeasuredVan(faults_named(fault, seed), seed)


HARNESS_OHMS = {
    "to": "plug_ground",
    "quantity": "resistance",
    "state": "isolated",
    "load": "unplugged",
    "side": "harness",
}


def shown(fault: str, at: str, **row: str) -> float:
    one = van(fault)
    return one.shown(one.place({"at": at, **row}))


def test_its_circuit_has_the_parts_and_points_of_the_template() -> None:
    ours, template = van("none").circuit, load_circuit("pump-feed")
    assert ours.ids() == template.ids()


def test_every_fault_that_the_diagnosis_knows_can_be_set() -> None:
    assert {kind for _, kind in every_fault()} | {"healthy"} == set(FAULTS)


@pytest.mark.parametrize(
    ("fault", "at", "row", "low", "high"),
    [
        ("none", "plug_feed", {}, 11.5, 12.3),
        ("none", "battery_plus", {"state": "crank"}, 9.6, 11.5),
        ("none", "battery_plus", {"state": "run"}, 13.5, 14.6),
        ("none", "plug_feed", {"state": "off"}, -0.05, 0.05),
        ("none", "fuse", {"quantity": "current"}, 4.0, 5.5),
        ("none", "pump", {"quantity": "resistance", "state": "isolated"}, 1.0, 1.4),
        ("plug_feed_pin:leaks", "plug_feed", HARNESS_OHMS, 145, 155),
        ("none", "plug_feed", HARNESS_OHMS, 1e6, math.inf),
        ("fuse", "fuse_in", {}, 11.5, 12.6),
        ("fuse", "fuse_out", {}, -0.05, 0.05),
        ("fuse", "relay_coil", {}, 11.5, 12.6),
        ("fuse", "fuse", {"quantity": "resistance", "state": "isolated"}, math.inf, math.inf),
        ("relay:1.6", "relay", {"quantity": "voltage_drop"}, 6.0, 8.0),
        ("relay_coil", "relay_coil", {}, -0.05, 0.05),
        ("relay_coil:weakly_commanded", "relay_coil", {}, 4.0, 5.5),
        ("relay_coil:half_commanded", "plug_feed", {}, 11.5, 12.3),
        ("relay_coil:half_commanded", "plug_feed", {"state": "crank"}, -0.05, 11.0),
        ("ground_bolt:open", "plug_ground", {}, 11.5, 12.6),
        ("ground_bolt:open", "plug_feed", {"to": "plug_ground", "load": "unplugged"}, -0.1, 0.1),
        ("plug_feed_pin:2", "plug_feed", {"to": "plug_ground", "load": "unplugged"}, 11.5, 12.6),
        ("plug_feed_pin:2", "plug_feed_pin", {"quantity": "voltage_drop"}, 6.0, 10.0),
        ("pump", "fuse", {"quantity": "current"}, -0.05, 0.05),
        ("pump:stalled", "fuse", {"quantity": "current"}, 10.0, 14.0),
        ("pump:short_to_ground", "pump", {"quantity": "resistance", "state": "isolated"}, 0.2, 0.5),
        ("feed_wire:short_to_ground", "plug_feed", {"to": "body", "quantity": "resistance", "state": "isolated",
                                                    "load": "unplugged"}, 0.2, 0.5),
        ("feed_wire:fed_elsewhere", "plug_feed", {"state": "off"}, 10.0, 12.6),
        ("relay:stuck_closed", "plug_feed", {"state": "off"}, 10.0, 12.6),
        ("battery:weak", "battery_plus", {"state": "crank"}, 4.5, 8.5),
        ("battery:0.014", "battery_plus", {"state": "crank"}, 5.5, 8.5),
        ("fuse,ground_bolt:open", "plug_ground", {}, -0.1, 0.1),
    ],
)  # fmt: skip
def test_a_fault_shows_where_it_should(fault: str, at: str, row: dict[str, str], low: float, high: float) -> None:
    assert low <= shown(fault, at, **row) <= high


@pytest.mark.parametrize(
    ("fault", "row", "word"),
    [
        ("none", {"at": "plug_feed"}, "bright"),
        ("none", {"at": "fuse_in", "to": "fuse_out"}, "dark"),
        ("fuse", {"at": "fuse_in", "to": "fuse_out"}, "bright"),
        ("fuse", {"at": "plug_feed"}, "dark"),
        ("relay:1.6", {"at": "plug_feed"}, "dim"),
        ("relay_coil:weakly_commanded", {"at": "relay_coil"}, "glowing"),
        ("ground_bolt:open", {"at": "plug_ground", "to": "battery_plus"}, "dark"),
        ("plug_ground_pin:5", {"at": "plug_feed", "to": "plug_ground", "load": "unplugged"}, "bright"),
        ("feed_wire:20", {"at": "plug_feed", "to": "plug_ground", "load": "unplugged"}, "dim"),
    ],
)
def test_a_lamp_shows_it_too(fault: str, row: dict[str, str], word: str) -> None:
    one = van(fault)
    assert one.lamp(one.place({"quantity": "lamp", **row})) == word


@pytest.mark.parametrize(
    ("fault", "key", "answer"),
    [
        ("none", "prime_heard", "yes"),
        ("fuse", "prime_heard", "no"),
        ("fuse", "fuse_whole", "no"),
        ("fuse", "relay_clicks", "yes"),
        ("relay_coil", "relay_clicks", "no"),
        ("battery:weak", "starter_turns", "slowly"),
        ("none", "tachometer_moves", "yes"),
        ("none", "water_in_plug", "unknown"),
    ],
)
def test_what_is_heard_and_seen(fault: str, key: str, answer: str) -> None:
    assert van(fault).look(key) == answer


@pytest.mark.parametrize(
    ("fault", "trial", "result"),
    [
        ("relay", {"bridged": "relay"}, "runs"),
        ("fuse", {"bridged": "relay"}, "dead"),
        ("feed_wire", {"into": "pump_plus"}, "runs"),
        ("pump", {"into": "pump_plus"}, "dead"),
        ("fuse", {"replaced": "fuse"}, "runs"),
        ("feed_wire:short_to_ground", {"replaced": "fuse"}, "blew"),
        ("relay", {"compared": "relay"}, "differs"),
        ("fuse", {"compared": "relay"}, "alike"),
        ("feed_wire:intermittent", {"observed": "moves_with_harness"}, "feed_wire"),
    ],
)
def test_what_comes_of_a_trial(fault: str, trial: dict[str, str], result: str) -> None:
    assert van(fault).came_of(trial) == result


def test_what_was_put_right_is_sound() -> None:
    faults = faults_named("fuse,relay:1.6")
    assert [str(fault) for fault in without(faults, ["fuse"])] == ["relay:1.6"]
    assert shown("none", "plug_feed") == pytest.approx(
        (one := van("fuse,relay:1.6").repaired("fuse", "relay")).shown(one.place({"at": "plug_feed"}))
    )


def test_hidden_faults_differ_and_the_seed_fixes_them() -> None:
    found = [faults_named("hidden", seed) for seed in range(12)]
    assert len({str(fault) for (fault,) in found}) > 6
    assert found == [faults_named("hidden", seed) for seed in range(12)]


def test_what_comes_and_goes_differs_from_turn_to_turn() -> None:
    one = van("feed_wire:intermittent")
    place = one.place({"at": "plug_feed"})
    runs = [one.scenario(place, turn).run(one.seed).readings[0].value.tolist() for turn in range(3)]
    assert all(a != b for a, b in combinations(runs, 2))


@pytest.mark.parametrize(
    ("address", "said"),
    [
        ("sim:van?fault=fuze", "did you mean 'fuse'"),
        (
            "sim:van?fault=fuse:stalled",
            "it can be open, high_resistance, intermittent, wrong_size, branch_shorted, or ohms",
        ),
        ("sim:van?fault=relay_coil:5", "cannot be '5'"),
        ("sim:van?at=plug_fed", "near it: plug_feed"),
        ("sim:van?quantity=resistance&state=crank", "de-energised"),
        ("sim:healthy-prime?fault=fuse", "'fault' belongs to sim:van"),
    ],
)
def test_a_slip_in_the_address_is_one_sentence(address: str, said: str) -> None:
    with pytest.raises(MeterlogError, match=said.replace("(", r"\(")):
        open_address(address)


def test_every_part_can_fail() -> None:
    circuit = van("none").circuit
    assert all(kinds(part) for part in (*circuit.part_index, *circuit.commands))
