"""Checks the proof of a repair: same place, state and load, both readings with their errors, no more than they show."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from meterlog.circuit.model.circuit_file import load_circuit
from meterlog.circuit.readings.measurement import Measurement
from meterlog.job.reading_again import Judged, judged, with_error

Run = Callable[..., dict[str, Any]]
PUMP = load_circuit("pump-feed")
DROP = Measurement("voltage_drop", "relay", "relay", "key_on", value=1.6)
VOLTS = Measurement("voltage", "pump", "pump", "key_on", value=9.0)


@pytest.fixture
def repaired(job: Run) -> dict[str, Any]:
    """A job whose relay lost 1.6 V, and was replaced."""
    job("start", "--complaint", "cranks, does not start", "--circuit", "pump-feed")
    job("measure", "--at", "relay", "--value", "1.6")
    return job("repaired", "relay")


@pytest.mark.parametrize(
    ("now", "verdict", "said"),
    [
        ("0.05", "proved", "a sound circuit shows"),
        ("0.6", "not proved", "still outside"),
        ("1.5", "not proved", "still outside"),
    ],
)
@pytest.mark.usefixtures("repaired")
def test_a_part_that_got_only_better_is_not_proved(now: str, verdict: str, said: str, job: Run) -> None:
    found = job("prove", "--value", now)["proof"]
    assert found["verdict"] == verdict
    assert said in found["text"]
    assert "1.60 V +-0.08 before" in found["text"]
    row = found["readings"][0]
    assert (row["at"], row["state"], row["before"], row["after"]) == ("relay", "key_on", 1.6, float(now))
    assert row["before_error"] > 0
    assert row["after_error"] > 0
    assert row["sound"][1] < 0.6


def test_only_the_same_place_state_and_load_counts(job: Run, repaired: dict[str, Any]) -> None:
    asked = repaired["next"]
    assert (asked["kind"], asked["at"], asked["state"], asked["load"]) == ("prove", "relay", "key_on", "connected")
    assert job("measure", "--at", "relay", "--state", "crank", "--value", "0.05")["proof"]["verdict"] == "not yet"
    assert job("measure", "--at", "pump", "--value", "12")["proof"]["verdict"] == "not yet"
    assert job("prove", "--value", "0.05")["proof"]["verdict"] == "proved"


@pytest.mark.parametrize(
    ("before", "after", "error", "verdict"),
    [
        (9.0, 12.0, 0.1, "sound"),
        (9.0, 12.0, 2.0, "sound"),
        (9.0, 12.0, 3.5, "cannot tell"),
        (10.8, 11.2, 0.1, "sound"),
        (10.8, 11.2, 0.4, "cannot tell"),
        (9.0, 9.1, 0.1, "outside"),
        (0.0, 12.75, 0.1, "sound"),  # a fuller battery than most
        (15.0, 12.75, 0.1, "cannot tell"),
        (math.nan, 12.0, 0.1, "sound"),
    ],
)
def test_a_change_smaller_than_the_errors_of_both_proves_nothing(
    before: float, after: float, error: float, verdict: Judged
) -> None:
    one, other = (replace(VOLTS, value=value, error=error) for value in (before, after))
    assert judged(PUMP, one, [other], [(11.0, 12.6)], 1, 2) == verdict


def test_a_contact_that_comes_and_goes_must_read_sound_three_times() -> None:
    good = replace(DROP, value=0.04)
    for count, verdict in ((0, "not read"), (2, "not read"), (3, "sound")):
        assert judged(PUMP, DROP, [good] * count, [(0.0, 0.2)] * count, 3, 4) == verdict
    assert judged(PUMP, DROP, [good, DROP, good], [(0.0, 0.2)] * 3, 3, 4) == "outside"


@pytest.mark.parametrize(
    ("before", "after", "verdict"),
    [
        (1.6, [0.284], "cannot tell"),  # once more
        (1.6, [0.284, 0.284], "better"),
        (0.3, [0.284, 0.284], "cannot tell"),
        (1.6, [0.284, 0.6], "outside"),
        (math.nan, [0.284, 0.284], "cannot tell"),
    ],
)
def test_what_stays_between_sound_and_faulty_is_better_or_not_than_it_was(
    before: float, after: list[float], verdict: Judged
) -> None:
    """A wire that is sound up to 0.24 V and faulty from 0.36 V on could never be proved at 0.284 V."""
    again = [replace(DROP, value=value, error=0.01) for value in after]
    assert judged(PUMP, replace(DROP, value=before), again, [(0.0, 0.24)] * len(again), 1, 2) == verdict


@pytest.mark.parametrize(
    ("m", "said"),
    [
        (replace(VOLTS, value=12.0, error=0.1), "12.00 V +-0.11"),
        (replace(VOLTS, value=12.0), "12.00 V +-0.30"),
        (Measurement("resistance", "fuse", "fuse", "isolated", value=math.inf), "open"),
        (Measurement("resistance", "fuse", "fuse", "isolated", value=0.2, error=0.1), "0.20 ohm +-"),
        (Measurement("lamp", "pump", "pump", "key_on", value=0.0), "dark"),
    ],
)
def test_each_reading_is_said_with_its_error(m: Measurement, said: str) -> None:
    assert with_error(PUMP, m).startswith(said)


def test_what_does_not_settle_it_is_asked_for_once_more_and_then_left_to_a_drive(job: Run) -> None:
    job("start", "--complaint", "cranks, does not start", "--circuit", "pump-feed")
    now = job("repaired", "relay")
    assert now["next"]["at"] == "pump"
    low = f"{now['proof']['readings'][0]['sound'][0] - 0.45:.2f}"
    now = job("prove", "--value", low)
    assert (now["proof"]["verdict"], now["next"]["at"]) == ("not yet", "pump")
    now = job("prove", "--value", low)
    assert (now["proof"]["verdict"], now["next"]["kind"], now["next"]["at"]) == ("not yet", "prove", None)
    assert "by driving" in now["next"]["text"]


def test_ohms_through_a_contact_at_rest_are_open_in_a_sound_circuit_too_and_decide_nothing(job: Run) -> None:
    job("start", "--complaint", "cranks, does not start", "--circuit", "pump-feed")
    through = ["--quantity", "resistance", "--at", "fuse_out", "--to", "battery_minus", "--state", "isolated"]
    job("measure", *through, "--value", "open")
    job("measure", "--at", "relay", "--value", "1.6")
    assert job("repaired", "relay")["next"]["quantity"] == "voltage_drop"
    found = job("prove", "--value", "0.05")["proof"]
    assert [row["at"] for row in found["readings"]] == ["relay"]
    assert found["verdict"] == "proved"
