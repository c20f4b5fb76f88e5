"""Times the download of a long session: `python -m tests.bench.page.downloads`.

Five million readings as CSV from the page, taken as fast as they come: the first byte, all of it, and how far the
server's memory grows meanwhile; then how long it goes on making what nobody takes any more. Goals: the first byte
within 1 s, no more memory than some parts of the table (25 MB), at most one second of vain work.
"""

from __future__ import annotations

import http.client
import json
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import urlsplit

import psutil

from tests.bench.page.review import write_day
from tests.bench.page.served import served
from tests.bench.table import Row, at_most, show

READINGS = 5_000_000
FIRST_GOAL_S, MEMORY_GOAL_MB, VAIN_GOAL_S = 1.0, 25.0, 1.0
_PIECE_BYTES = 65_536


def rows() -> Iterator[Row]:
    """The first byte, the memory, the end of the work."""
    with tempfile.TemporaryDirectory() as name:
        write_day(Path(name) / "long.sqlite", READINGS)
        write_day(Path(name) / "short.sqlite", 30)
        with served(Path(name)) as (address, server):
            place = urlsplit(address).netloc
            _take(place, "/files/short.sqlite/csv")  # what is imported at the first one is no matter of the length
            yield from _rows(place, psutil.Process(server.pid))


def _rows(place: str, server: psutil.Process) -> Iterator[Row]:
    what = f"CSV of {READINGS:,} readings"
    before_mb = server.memory_info().rss / 1e6
    first_s, whole_s, size, most_mb = _take(place, "/files/long.sqlite/csv", server)
    ratio = f"all {size / 1e6:.0f} MB after {whole_s:.1f} s, {READINGS / whole_s / 1000:.0f} k readings/s"
    yield at_most(f"{what}, first byte", first_s, FIRST_GOAL_S, "s", ratio)
    yield at_most(f"{what}, growth of the server's memory", most_mb - before_mb, MEMORY_GOAL_MB, "MB")
    yield at_most(f"{what}, work after the connection was closed", _vain_s(place), VAIN_GOAL_S, "s")


def _take(place: str, address: str, server: psutil.Process | None = None) -> tuple[float, float, int, float]:
    """Take a table; the time to its first byte and to its last, s, its bytes, and the server's most memory, MB."""
    begun_s, most = time.perf_counter(), 0
    connection = http.client.HTTPConnection(place)
    connection.request("GET", address)
    answer = connection.getresponse()
    size = len(answer.read(1))
    first_s = time.perf_counter() - begun_s
    while piece := answer.read(_PIECE_BYTES):
        size += len(piece)
        most = max(most, server.memory_info().rss if server else 0)
    connection.close()
    return first_s, time.perf_counter() - begun_s, size, most / 1e6


def _vain_s(place: str) -> float:
    """The time for which a table goes on being made after its connection was closed, s."""
    connection = http.client.HTTPConnection(place)
    connection.request("GET", "/files/long.sqlite/csv?id=closed")
    answer = connection.getresponse()
    answer.read(_PIECE_BYTES)
    answer.close()
    connection.close()
    begun_s = time.perf_counter()
    while _state(place) == "going":
        time.sleep(0.005)
    return time.perf_counter() - begun_s


def _state(place: str) -> str:
    connection = http.client.HTTPConnection(place)
    connection.request("GET", "/files/going/closed")
    told = json.loads(connection.getresponse().read())
    connection.close()
    return str(told["state"])


if __name__ == "__main__":
    sys.exit(show(rows()) > 0)
