"""Times a suggestion on circuits of 12, 25 and 40 parts after five and ten readings, and says what memory it takes."""

from __future__ import annotations

import multiprocessing
import resource
import time
from itertools import product

from meterlog.circuit import circuit_from_table
from meterlog.circuit.diagnosis import Diagnoser
from meterlog.circuit.readings.from_rows import measurement_from_row

SIZES = (12, 25, 40)
READINGS = (5, 10)
TIMES = 3
"""Each is timed so often; the median counts."""
KB_A_MB = 1024


def table(size: int) -> dict[str, object]:
    """A circuit of a relay and a motor with so many parts, a point behind each."""
    kinds = ["battery", "connector", "fuse", "relay_contact"]
    while len(kinds) < size - 4:
        kinds.append("wire" if len(kinds) % 2 == 0 else "connector")
    kinds += ["motor", "connector", "wire", "ground"]
    parts: list[dict[str, object]] = [{"id": f"{kind}_{k}", "kind": kind, "near": []} for k, kind in enumerate(kinds)]
    parts[3]["command"] = "coil"
    parts[size - 4]["current_a"] = 5.0
    points = [{"id": f"after_{k}", "after": part["id"]} for k, part in enumerate(parts)]
    return {"name": f"{size} parts", "system_v": 12.0, "part": parts, "point": points}


def once(size: int, readings: int) -> tuple[float, float, float]:
    """The median wait, s, the median processor time, s, and the process's peak memory, MB."""
    circuit = circuit_from_table(table(size))
    tool = Diagnoser(circuit)
    places = [round(k * (size - 6) / readings) + 1 for k in range(readings)]
    rows = [{"quantity": "voltage", "at": f"after_{k}", "state": "key_on", "value": 12.3 - k / 100} for k in places]
    measured = [measurement_from_row(row, circuit, "speed") for row in rows]
    waits, works = [], []
    for _ in range(TIMES):
        began, worked = time.perf_counter(), time.process_time()
        tool.diagnose(measured)
        waits.append(time.perf_counter() - began)
        works.append(time.process_time() - worked)
    return (
        sorted(waits)[TIMES // 2],
        sorted(works)[TIMES // 2],
        resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / KB_A_MB,
    )


def lines() -> list[str]:
    """A line a size and number of readings, each measured in a process of its own."""
    found = []
    for size, readings in product(SIZES, READINGS):
        with multiprocessing.get_context("spawn").Pool(1) as pool:
            seconds, processor, megabytes = pool.apply(once, (size, readings))
        found.append(
            f"{size} parts, {readings} readings: a diagnosis with five suggestions waits {seconds:.2f} s, of which"
            f" {processor:.2f} s at work; peak {megabytes:.0f} MB"
        )
    return found
