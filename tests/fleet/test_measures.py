"""A measure is of what its name says: a run that a fault cut short is no prime."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from meterlog.fleet.measures import measures_of
from meterlog.loaded import load
from meterlog.reading import Quantity
from meterlog.series import Series
from meterlog.session.writer import SessionWriter

TIME_S = np.arange(0.0, 40.0, 0.25)
CRANK_S, OUT_S, RUNS_AGAIN_S = 8.0, 14.0, 15.25
"""The starter turns and the feed is on; nine seconds later it is out for a moment, while the engine runs."""


def within(start_s: float, end_s: float) -> NDArray[np.bool_]:
    return (start_s <= TIME_S) & (end_s > TIME_S)


def primes(path: Path, *, marked: bool = False, cranked: bool = False, charged: bool = False) -> list[float]:
    """Write a start with a prime of 2 s and a dropout; return how long each prime is said to be, s."""
    feed = np.where(within(2.0, 4.0) | within(CRANK_S, OUT_S) | within(RUNS_AGAIN_S, 40.0), 12.0, 0.0)
    battery = np.where(cranked & within(CRANK_S, CRANK_S + 1.5), 10.0, 12.5)
    battery[charged & within(CRANK_S + 1.5, 40.0)] = 14.2
    battery[cranked & within(OUT_S - 2.0, 40.0)] = 14.2  # too late to tell of the run itself
    with SessionWriter.create(path, details={"system_v": "12"}) as writer:
        for label, value in (("pump feed", feed), ("battery", battery)):
            channel = writer.add_channel(label, Quantity.DC_VOLTAGE, driver="text")
            few = np.full(len(TIME_S), 0.01, "f4")
            writer.append_series(channel, Series(TIME_S, value, few, np.zeros(len(TIME_S), "u2")))
        writer.add_marker(1.9, "key-on")
        if marked:
            writer.add_marker(CRANK_S - 0.5, "crank")
    return [round(one.value) for one in measures_of(load(path)) if one.measure == "prime duration"]


@pytest.mark.parametrize("told", ["marked", "cranked", "charged"])
def test_a_run_that_a_dropout_cut_short_is_no_prime(tmp_path: Path, told: str) -> None:
    assert primes(tmp_path / "start.sqlite", **{told: True}) == [2]


def test_where_nothing_tells_of_the_engine_every_pulse_counts(tmp_path: Path) -> None:
    assert primes(tmp_path / "start.sqlite") == [2, 6]


def test_a_starters_own_pulse_stays(tmp_path: Path) -> None:
    value = np.where(within(CRANK_S, CRANK_S + 1.5), 11.0, 0.0)
    with SessionWriter.create(tmp_path / "crank.sqlite", details={"system_v": "12"}) as writer:
        channel = writer.add_channel("starter solenoid", Quantity.DC_VOLTAGE, driver="text")
        few = np.full(len(TIME_S), 0.01, "f4")
        writer.append_series(channel, Series(TIME_S, value, few, np.zeros(len(TIME_S), "u2")))
        writer.add_marker(CRANK_S, "crank")
    measured = [one.value for one in measures_of(load(tmp_path / "crank.sqlite")) if one.measure == "prime duration"]
    assert measured == pytest.approx([1.5], abs=0.3)
