"""Measures how fast each driver decodes a buffer to readings: `python -m tests.bench.decode`.

Three streams a driver: one frame repeated (a display that stands still), a slow drift over 400 counts with the
last digits flickering (what a meter sends), and 100,000 frames that are all different as long as the display has so
many (the cache of known frames never helps). The goal is 300,000 readings a second for a stream as a meter sends it,
of processor time in one thread. Beside it stands the ratio to one `numpy.sum` over as many values in the same run,
which carries over to other machines.
"""

from __future__ import annotations

import random
import sys
import time
from collections.abc import Callable, Iterator

import numpy as np

from meterlog.driver.framing import framing_of
from meterlog.reading import Flag, Quantity, Reading
from tests.bench.table import Row, at_least, best_s, show

FRAMES = 100_000
GOAL = 300_000
CHUNK = 4096
ADDRESSES = (
    "status14:x",
    "segments14:x",
    "digits11:x?status=sign-first&amperes=0x30",
    "digits11:x?status=judge-first&amperes=0x3F",
    "digits14:x",
    "chars16:x",
    "five11:x?told=1100:10mV,1140:10mV+minus",
    "bcd17:x?told=00:none",
    "text:x",
    "text:x?profile=two-column",
)


def still(_: random.Random) -> list[int]:
    """One count, again and again."""
    return [1234] * FRAMES


def drifting(rng: random.Random) -> list[int]:
    """A slow drift with a flickering last digit."""
    return [1200 + n * 400 // FRAMES + rng.randint(-2, 2) for n in range(FRAMES)]


def scattered(rng: random.Random) -> list[int]:
    """All counts that a display of 4000 has, in no order."""
    return [rng.randrange(-3999, 4000) for _ in range(FRAMES)]


def rate(address: str, counts: list[int]) -> float:
    """Readings a second, best of three, from chunks of 4 kB."""
    framing = framing_of(address)
    encoder = framing.encoder()
    columns = 2 if "two-column" in address else 1
    frames = {
        c: encoder.encode(
            [
                Reading(0.0, c / 100, (Quantity.DC_VOLTAGE, Quantity.DC_CURRENT)[k], 0.01, Flag.DC, k)
                for k in range(columns)
            ]
        )
        for c in set(counts)
    }
    data = b"".join(frames[c] for c in counts)
    chunks = [data[n : n + CHUNK] for n in range(0, len(data), CHUNK)]
    expected = columns * FRAMES

    def decode() -> None:
        feed = framing.decoder(0.001).feed
        assert sum(len(feed(chunk, 1.0)) for chunk in chunks) == expected

    return expected / best_s(decode, times=3, clock=time.process_time)


def rows() -> Iterator[Row]:
    """A row a driver."""
    streams: tuple[Callable[[random.Random], list[int]], ...] = (still, drifting, scattered)
    values = np.random.default_rng(1).normal(size=1_000_000)
    sum_rate = len(values) / best_s(values.sum, clock=time.process_time)
    for address in ADDRESSES:
        flat, usual, odd = (rate(address, stream(random.Random(5))) / 1e3 for stream in streams)
        ratio = f"still {flat:.0f}, all different {odd:.0f}; numpy.sum {sum_rate / usual / 1e3:.0f} x"
        yield at_least(f"decoding {address.replace(':x', '', 1)}", usual, GOAL / 1e3, "k readings/s", ratio)


if __name__ == "__main__":
    sys.exit(show(rows()) > 0)
