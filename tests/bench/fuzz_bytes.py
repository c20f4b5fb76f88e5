"""Bytes that no meter means, at length: `python -m tests.bench.fuzz_bytes [--bytes N] [ADDRESS ...]`; 10^8 a framing.

A quarter each of: random bytes; frames with 2 % of their bytes changed by a bit, a byte, a loss or a gain; frames
whose halves belong to different frames; frames cut short; all in chunks of random sizes with pauses now and then. An
exception ends the run. Beside the readings stands how many of them nobody sent: `wrong` are those whose value,
quantity, resolution and flags no frame that went in shows. `slowest` is the longest that one chunk of at most 64 kB
took, `grown` by how much the process grew after the first tenth.

A spliced frame is a whole one for any decoder where its halves follow without a pause, so about half of them are wrong;
on a line that happens where bytes are lost and the next frame follows at once. No two frames in a row show the same
here, so none is doubted: `tests.bench.bitflips` is about that.
"""

from __future__ import annotations

import argparse
import os
import random
import resource
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

from meterlog.driver.framing import Framing, framing_of
from meterlog.reading import Flag, Reading
from meterlog_drivers.bcd17 import Bcd17
from meterlog_drivers.display.every_mode import every_mode
from meterlog_drivers.five11 import Five11
from tests.bench.results import write

ADDRESSES = (
    "status14:x",
    "segments14:x",
    "digits11:x?status=sign-first",
    "digits11:x?amperes=0x3F",
    "digits14:x",
    "chars16:x",
    f"five11:x?{Five11.emulated}",
    f"bcd17:x?{Bcd17.emulated}",
    "text:x",
)
FULL = 10**8
"""Bytes a framing; only such a run is written down."""
BLOCK = 1 << 16
SOURCES = 200
"""Frames that the damaged ones are made from."""
CHANGED = 0.02


@dataclass
class Tally:
    """The result for one kind of bytes."""

    fed: int = 0
    readings: int = 0
    wrong: int = 0
    slowest_s: float = 0.0


def kinds(framing: Framing, rng: random.Random) -> tuple[dict[str, Callable[[], bytes]], set[tuple[object, ...]]]:
    """Return the makers of each kind of block, and the values of the frames that went in."""
    encoder = framing.encoder()
    shown = list(every_mode(encoder))
    shown = rng.sample(shown, min(SOURCES, len(shown)))
    frames = [encoder.encode([reading]) for reading in shown]
    true = {_key(r) for frame in frames for r in framing.decoder().feed(frame, 0.0)}
    many = BLOCK // len(frames[0])

    def changed() -> bytes:
        data = np.frombuffer(b"".join(rng.choices(frames, k=many)), np.uint8).copy()
        dice = np.random.default_rng(rng.getrandbits(32))
        at = np.flatnonzero(dice.random(len(data)) < CHANGED)
        how = dice.integers(0, 4, len(at))
        data[at[how == 0]] ^= (1 << dice.integers(0, 8, int((how == 0).sum()))).astype(np.uint8)
        data[at[how == 1]] = dice.integers(0, 256, int((how == 1).sum()), dtype=np.uint8)
        times = np.ones(len(data), np.int64)
        times[at[how == 2]], times[at[how == 3]] = 0, 2
        return np.repeat(data, times).tobytes()

    def spliced() -> bytes:
        pieces = []
        for first, second in zip(rng.choices(frames, k=many), rng.choices(frames, k=many), strict=True):
            cut = rng.randrange(1, len(first))
            pieces.append(first[:cut] + second[cut:])
        return b"".join(pieces)

    def truncated() -> bytes:
        return b"".join(frame[: rng.randrange(1, len(frame) + 1)] for frame in rng.choices(frames, k=2 * many))

    return {
        "random": lambda: rng.randbytes(BLOCK),
        "changed": changed,
        "spliced": spliced,
        "cut short": truncated,
    }, true


def _key(reading: Reading) -> tuple[object, ...]:
    resolution = reading.resolution if reading.resolution == reading.resolution else None
    flags = reading.flags & ~Flag.DOUBTFUL
    return reading.value, reading.quantity, resolution, flags, reading.column


def run(address: str, count: int, seed: int) -> Iterator[tuple[str, Tally]]:
    """Feed `count` bytes, a quarter of each kind; last comes `grown`, whose `fed` is by how many kB."""
    framing, rng = framing_of(address), random.Random(seed)
    blocks, true = kinds(framing, rng)
    decoder, now_s = framing.decoder(0.001), 0.0
    fed, after_tenth_kb = 0, 0
    for kind, make in blocks.items():
        tally = Tally()
        while tally.fed < count // len(blocks):
            data = make()
            start = 0
            while start < len(data):
                piece = data[start : start + rng.choice((1, 7, 20, 64, 4096, BLOCK))]
                start += len(piece)
                now_s += len(piece) * 0.001 + rng.choice((0.0, 0.0, 0.0, 0.5))
                begun_s = time.perf_counter()
                readings = decoder.feed(piece, now_s)
                tally.slowest_s = max(tally.slowest_s, time.perf_counter() - begun_s)
                tally.readings += len(readings)
                tally.wrong += sum(_key(r) not in true for r in readings)
            tally.fed += len(data)
            fed += len(data)
            if fed >= count // 10 and not after_tenth_kb:
                after_tenth_kb = _size_kb()
        yield kind, tally
    yield "grown", Tally(fed=max(0, _size_kb() - after_tenth_kb))


def driver_of(address: str) -> str:
    """The driver's name in an address."""
    return address.partition(":")[0]


def _size_kb() -> int:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss


def lines(addresses: list[str], count: int, seed: int) -> Iterator[str]:
    """The table."""
    yield "| framing | bytes | readings | wrong | slowest chunk | grown |"
    yield "|---|---|---|---|---|---|"
    for address in addresses:
        begun_s = time.process_time()
        *tallies, (_, grown) = run(address, count, seed)
        name, told, _ = address.replace(":x", "", 1).partition("told=")
        name += f"{told}..." if told else ""
        for kind, t in tallies:
            share = f"{t.wrong} ({t.wrong / t.readings:.1%})" if t.readings else "0"
            yield (f"| `{name}`, {kind} | {t.fed:.2e} | {t.readings} | {share} | {t.slowest_s:.2f} s | |")
        total = sum(t.fed for _, t in tallies)
        spent_s = time.process_time() - begun_s
        yield f"| `{name}`, all: no exception, {spent_s:.0f} s of processor | {total:.2e} | | | | {grown.fed} kB |"


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench.fuzz_bytes", description=__doc__)
    parser.add_argument("addresses", metavar="ADDRESS", nargs="*", default=list(ADDRESSES))
    parser.add_argument("--bytes", type=int, default=FULL, help="bytes a framing")
    parser.add_argument("--seed", type=int, default=1)
    args = parser.parse_args()
    os.nice(10)
    said = []
    for line in lines(args.addresses, args.bytes, args.seed):
        print(line, flush=True)
        said.append(line)
    if args.bytes >= FULL:
        some = "" if args.addresses == list(ADDRESSES) else f" of {', '.join(map(driver_of, args.addresses))}"
        write(f"fuzzed bytes{some}", said)


if __name__ == "__main__":
    main()
