"""How fast each driver decodes a buffer to readings: `python -m tests.bench.decode`.

Three streams a driver: one frame repeated (a display that stands still), a slow drift over 400 counts with the
last digits flickering (what a meter sends), and 100,000 frames that are all different as long as the display has so
many (the cache of known frames never helps). The goal is 300,000 readings a second for a stream as a meter sends it.
Beside it stands the ratio to one `numpy.sum` over as many values in the same run, which carries over to other machines.
"""

from __future__ import annotations

import random
import time
from collections.abc import Callable

import numpy as np

from meterlog.framing import framing_of
from meterlog.reading import Flag, Quantity, Reading

FRAMES = 100_000
GOAL = 300_000
CHUNK = 4096
ADDRESSES = (
    "status14:x",
    "segments14:x",
    "digits11:x",
    "digits14:x",
    "chars16:x",
    "text:x",
    "text:x?profile=two-column",
    "frames:x?profile=chars16-frames",
    "frames:x?profile=status14-frames",
)


def still(_: random.Random) -> list[int]:
    """One count, again and again."""
    return [1234] * FRAMES


def drifting(rng: random.Random) -> list[int]:
    """A slow drift with a flickering last digit."""
    return [1200 + n * 400 // FRAMES + rng.randint(-2, 2) for n in range(FRAMES)]


def scattered(rng: random.Random) -> list[int]:
    """All counts that four digits have, in no order."""
    return [rng.randrange(-9999, 10_000) for _ in range(FRAMES)]


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
    best_s = float("inf")
    for _ in range(3):
        feed = framing.decoder(0.001).feed
        start_s = time.perf_counter()
        got = sum(len(feed(chunk, 1.0)) for chunk in chunks)
        best_s = min(best_s, time.perf_counter() - start_s)
        assert got == columns * FRAMES
    return columns * FRAMES / best_s


def sum_rate() -> float:
    """Values a second of one numpy.sum, best of five."""
    values = np.random.default_rng(1).normal(size=1_000_000)
    best_s = float("inf")
    for _ in range(5):
        start_s = time.perf_counter()
        values.sum()
        best_s = min(best_s, time.perf_counter() - start_s)
    return len(values) / best_s


def main() -> None:
    """Print the table."""
    streams: tuple[Callable[[random.Random], list[int]], ...] = (still, drifting, scattered)
    print(f"readings a second, thousands; goal {GOAL // 1000} for 'drifting', what a meter sends")
    print(f"{'driver':<36}{'still':>8}{'drifting':>10}{'scattered':>11}  numpy.sum / drifting")
    reference = sum_rate()
    for address in ADDRESSES:
        rates = [rate(address, stream(random.Random(5))) for stream in streams]
        verdict = "" if rates[1] >= GOAL else "  SHORT"
        print(
            f"{address:<36}{rates[0] / 1e3:>8.0f}{rates[1] / 1e3:>10.0f}{rates[2] / 1e3:>11.0f}"
            f"{reference / rates[1]:>10.0f}{verdict}"
        )


if __name__ == "__main__":
    main()
