"""Checks what a direct feed, a bridged part and a replaced one say, by what came of it."""

import pytest

from meterlog.circuit import load_circuit
from meterlog.circuit.diagnosis import Diagnoser
from meterlog.circuit.readings.measurement import Measurement
from meterlog.circuit.readings.trial import Tried

TOOL = Diagnoser(load_circuit("pump-feed"))
FUSE_DEAD = [Measurement("voltage", "fuse_in", value=12.4), Measurement("voltage", "fuse_out", value=0.0)]
DEAD_BEHIND_RELAY = [
    Measurement("voltage", "fuse_out", value=12.4),
    Measurement("voltage", "relay_out", value=0.0),
    Measurement("voltage", "relay_out", state="crank", value=0.0),  # or it may be a vehicle that does not prime
]


def chances(measured: list[Measurement], *tried: Tried) -> dict[str, float]:
    known = TOOL.weigh(measured, tried)
    return TOOL.chances(known.weight, known.comes_and_goes)


def short_chance(tried: list[Tried]) -> float:
    """The probability of a short behind the fuse, in this circuit or in something else that hangs on it."""
    return float(TOOL.weigh(FUSE_DEAD, tried).weight[TOOL.cells.short_at >= 0].sum())


def test_a_new_fuse_that_blows_means_a_short_and_one_that_stays_whole_does_not() -> None:
    before, blew, dead, runs = (
        chances(FUSE_DEAD, *trials)
        for trials in (
            [],
            [Tried("blew", replaced="fuse")],
            [Tried("dead", replaced="fuse")],
            [Tried("runs", replaced="fuse")],
        )
    )
    shorted = ("feed_wire", "pump")
    assert short_chance([Tried("blew", replaced="fuse")]) > 0.8 > before["fuse"] > 0.5
    assert sum(blew[name] for name in shorted) > blew["fuse"]
    assert blew["feed_wire"] > blew["pump"]
    assert runs["fuse"] > 0.95
    assert sum(dead[name] for name in shorted) < sum(blew[name] for name in shorted)


def test_bridging_the_relay_runs_the_pump_where_contact_or_command_is_missing() -> None:
    before, runs, dead = (
        chances(DEAD_BEHIND_RELAY, *trials)
        for trials in ([], [Tried("runs", bridged="relay")], [Tried("dead", bridged="relay")])
    )
    assert runs["relay"] + runs["relay_coil"] > 0.9
    assert runs["pump"] < before["pump"]
    others = sum(before[name] for name in ("pump", "feed_wire", "ground_bolt"))
    assert sum(dead[name] for name in ("pump", "feed_wire", "ground_bolt")) > 2 * others


def test_bridging_a_blown_fuse_blows_the_leads_own_where_there_is_a_short() -> None:
    assert short_chance([Tried("blew", bridged="fuse")]) > 0.8
    elsewhere = chances(FUSE_DEAD, Tried("dead", bridged="relay"))
    assert elsewhere["feed_wire"] + elsewhere["pump"] < 0.3, "nothing reaches the short through a blown fuse"


@pytest.mark.parametrize("kind", ["feed", "bridged", "replaced"])
def test_the_results_of_a_trial_are_all_that_can_come_of_it(kind: str) -> None:
    from meterlog.circuit.probability.trials import outcome

    how = {"feed": "battery", "into": "plug_feed"} if kind == "feed" else {kind: "fuse"}
    total = sum(outcome(TOOL.network, Tried(result, **how)) for result in ("runs", "dead", "blew"))
    assert total == pytest.approx(1.0)


def test_a_fuse_that_blew_is_said_as_evidence() -> None:
    found = TOOL.diagnose(FUSE_DEAD, [Tried("blew", replaced="fuse")])
    wire = next(h for h in found.hypotheses if h.part == "feed_wire")
    assert wire.fault == "short_to_ground"
    assert any(sentence.startswith("fuse replaced, and the fuse blew") for sentence in wire.speaks_for)
