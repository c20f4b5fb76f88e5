"""Two meters' difference: a reading that averaged an edge is one difference, however fast the other meter is."""

from __future__ import annotations

from pathlib import Path

from meterlog.circuit.diagnosis import Diagnoser
from meterlog.circuit.model.circuit_file import load_circuit
from meterlog.circuit.readings.measurement import Measurement
from meterlog.job.case import JobCase
from meterlog.job.job import Job
from meterlog.job.taking.meters import place_meters
from meterlog.job.taking.seen import Seen
from meterlog.reading import Quantity, Reading

CIRCUIT = load_circuit("pump-feed")


def test_the_slower_meters_edge_is_no_level() -> None:
    case, m = JobCase(CIRCUIT, Diagnoser(CIRCUIT)), Measurement("voltage", "battery_plus", "plug_feed")
    job = Job(Path(), "", "", "pump-feed.toml", (), "", {}, ())
    meters = ["sim:van?at=battery_plus", "sim:van?at=plug_feed&seed=1"]
    seen, level = Seen(case, m, place_meters(meters, CIRCUIT, m, job)), None
    plug = [0.0] * 5 + [2.5] + [5.3] * 8 + [0.0] * 3
    for k in range(len(plug) * 4):
        time_s = 0.1 * k
        _, level = seen.feed(0, Reading(time_s, 12.4 if plug[k // 4] == 0.0 else 12.37, Quantity.DC_VOLTAGE, 0.01))
        if level is None and k % 4 == 0:
            _, level = seen.feed(1, Reading(time_s, plug[k // 4], Quantity.DC_VOLTAGE, 0.01))
        if level is not None:
            break
    assert level is not None
    assert abs(level.value - 7.07) < 0.02
