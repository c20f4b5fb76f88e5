"""Writes the sessions of a made-up fleet, by all cores: a start a session, on three channels, in any weather."""

from __future__ import annotations

import multiprocessing
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from datetime import timedelta
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from meterlog.reading import Quantity
from meterlog.series import Series
from meterlog.session.writer import SessionWriter
from tests.bench.fleet.world import BEGAN, DAYS, KINDS, Van, fleet

_INTERVAL_S = 0.25
_KEY_S, _CRANK_S, _CRANK_FOR_S = 5.0, 12.0, 1.5
_LENGTH_S = 60.0, 75.0
_FAULT_SHARE = 0.35
"""Of the sessions of a faulty van, once its fault has begun. A guess."""

Array = NDArray[np.float64]


def generate(folder: Path, seed: int, vans: int = 50, sessions: int = 200, workers: int = 2) -> list[Van]:
    """Write the sessions of a fleet, a folder a van.

    Args:
        folder: where to.
        seed: the same makes the same fleet.
        vans: how many.
        sessions: of each van over the year.
        workers: processes.

    Returns:
        The vans, with their truth.
    """
    made = fleet(seed, vans)
    with ProcessPoolExecutor(workers, multiprocessing.get_context("spawn")) as pool:
        list(pool.map(_write_van, made, [folder] * vans, [seed] * vans, [sessions] * vans))
    return made


def _write_van(van: Van, folder: Path, seed: int, sessions: int) -> None:
    random = np.random.default_rng((seed, van.number))
    (folder / van.name).mkdir(parents=True)
    for number, day in enumerate(np.sort(random.uniform(0, DAYS, sessions))):
        write_session(folder / van.name / f"{number:04}.sqlite", van, float(day), random)


def write_session(path: Path, van: Van, day: float, random: np.random.Generator) -> None:
    """Write one start of a van on a day of the year: rest, prime, crank, engine running."""
    temperature_c = 10.0 - 12.0 * np.cos(2 * np.pi * day / DAYS) + random.normal(0, 4)
    fault = van.fault if van.fault and day > van.begins and random.random() < _FAULT_SHARE else None
    time_s = np.arange(random.uniform(0, _INTERVAL_S), random.uniform(*_LENGTH_S), _INTERVAL_S)
    running = _CRANK_S + _CRANK_FOR_S
    primed = (time_s >= _KEY_S + 0.1) & (time_s < _KEY_S + 0.1 + KINDS[van.kind] * random.normal(1, 0.02))
    if fault == "missing prime":
        primed[:] = False
    on = primed | (time_s >= _CRANK_S)
    battery = _battery(van, day, float(temperature_c), time_s, random)
    if fault == "overvoltage":
        battery[(time_s > running + 20) & (time_s < running + 30)] = random.uniform(15.4, 16.2)
    drop = (van.ground_v + van.worn("ground", day)) * random.normal(1, 0.04)
    feed = np.where(on, battery - 0.25, 0.0)
    if fault == "dropouts":
        for start in random.uniform(running + 5, time_s[-1] - 5, int(random.integers(1, 4))):
            feed[(time_s >= start) & (time_s < start + random.uniform(0.8, 1.6))] = 0.0
    ground = np.where(feed > 1.0, drop, 0.0)
    details = {
        "vehicle": van.name,
        "vehicle_kind": van.kind,
        "system_v": "12",
        "temperature_c": f"{temperature_c:.1f}",
        "relay_fitted": van.relay_fitted.isoformat(),
    }
    channels: Sequence[tuple[str, Array]] = (
        ("battery", battery), ("pump feed", feed), ("pump ground drop", ground),
    )  # fmt: skip
    with SessionWriter.create(path, started_at=BEGAN + timedelta(days=day), details=details) as writer:
        for label, value in channels:
            channel = writer.add_channel(label, Quantity.DC_VOLTAGE, driver="text")
            shown = np.round(value + random.normal(0, 0.006, len(value)), 2)
            few = np.full(len(value), 0.01, "f4")
            writer.append_series(channel, Series(time_s, shown, few, np.zeros(len(value), "u2")))
        writer.add_marker(_KEY_S, "key-on")
        writer.add_marker(_CRANK_S, "crank")


def _battery(van: Van, day: float, temperature_c: float, time_s: Array, random: np.random.Generator) -> Array:
    """Return the battery's voltage: at rest, with the key on, cranking, charged."""
    cold = temperature_c - 20.0
    lowest = van.crank_v + van.worn("crank", day) + 0.025 * cold + random.normal(0, 0.12)
    charge = van.charge_v + van.worn("charge", day) - 0.012 * cold + random.normal(0, 0.05)
    rest = random.normal(12.65, 0.05)
    value = np.full(len(time_s), rest)
    value[time_s >= _KEY_S] = rest - 0.15
    cranking = (time_s >= _CRANK_S) & (time_s < _CRANK_S + _CRANK_FOR_S)
    value[cranking] = lowest + 0.5 * (1 - np.exp(-(time_s[cranking] - _CRANK_S) / 0.8))
    value[time_s >= _CRANK_S + _CRANK_FOR_S] = charge
    return value
