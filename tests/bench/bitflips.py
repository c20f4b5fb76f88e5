"""Measures the harm of flipped bits: `python -m tests.bench.bitflips [--frames N] [--seeds N] [--only D ...]`.

Two tables. *Single frames*: every bit of every frame that a driver can show (at most `FRAMES` of them, a seeded draw)
is flipped, between good frames. `wrong` is the share of flips after which some reading is not what was sent, `legal`
the share where the damaged frame is, but for bits without meaning, just what the encoder sends for that other reading:
no decoder that knows the byte table alone can tell. `near` is the share of the wrong ones that are off by at most ten
counts, which nobody could see; `doubted` is the share of the others that bear `Flag.DOUBTFUL`.

*Feeds*: a healthy supply as a meter sends it, one flipped bit in `ONE_IN` frames, recorded and analyzed. The displays
are made here, by arithmetic that shares nothing with the detectors: a battery at 12.6 V with noise, or a key-on prime
from 0 V, or a display that falls for one reading (to 0.00 V, or to any part of it as an averaging window shows it).
Wrong verdicts are findings 'outside' and all events but the prime, the true dropout and a gap, which is true where
flips cost several frames in a row. `found` says how many of the true dropouts were found, in feeds with flips.
"""

from __future__ import annotations

import argparse
import math
import random
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path

import numpy as np

from meterlog.analysis import analyze
from meterlog.driver.framing import Decoder, Framing, framing_of
from meterlog.errors import EncodeError
from meterlog.reading import Flag, Quantity, Reading
from meterlog.series import Series
from meterlog.session.contents import Contents
from meterlog.session.model import Channel
from meterlog_drivers.bcd17 import Bcd17
from meterlog_drivers.display.every_mode import every_mode, nearest_shown
from meterlog_drivers.five11 import Five11
from tests.bench.fuzz_bytes import driver_of
from tests.bench.results import write

FRAMES = 60
FULL = 10_000
"""Frames a feed; only such a run is written down."""
NEAR_COUNTS = 10
ONE_IN = 100
"""Frames for one flipped bit."""
INTERVAL_S = 0.33
LEVEL_V = 12.6
NOISE_V = 0.012
BETWEEN_DROPOUTS = 97
"""Readings from one true dropout to the next, so that each stands alone."""

FRAMINGS = (
    ("status14:x", False),
    ("segments14:x", False),
    ("digits11:x?status=sign-first", False),
    ("digits11:x?status=sign-first", True),
    ("digits14:x", False),
    ("digits14:x", True),
    ("chars16:x", False),
    (f"five11:x?{Five11.emulated}", False),
    (f"bcd17:x?{Bcd17.emulated}", False),
    ("text:x", False),
)
"""Addresses, and whether the line is read as 8N1 with its parity."""
MORE = (("digits11:x?status=judge-first&amperes=0x3F", False), ("digits11:x?status=sign-first&amperes=0x30", False))


@dataclass
class Tally:
    """The results of flips in single frames."""

    flips: int = 0
    wrong: int = 0
    legal: int = 0
    near: int = 0
    doubted: int = 0
    extra: int = 0


def with_parity(frame: bytes) -> bytes:
    """Odd parity in the eighth bit: what an 8N1 port delivers of a 7O1 line."""
    return bytes(b | (0 if b.bit_count() % 2 else 0x80) for b in frame)


def wire_bits(framing: Framing, parity: bool) -> tuple[int, ...]:
    """The bits of a byte that are on the wire: no eighth where the line carries seven."""
    seven = framing.driver.name.startswith("digits") and not parity
    return tuple(range(7 if seven else 8))


def flips(address: str, parity: bool, seed: int = 1) -> Tally:
    """Flip every bit of a draw of a driver's frames."""
    framing = framing_of(address)
    encoder = framing.encoder()
    shown = list(every_mode(encoder))
    shown = random.Random(seed).sample(shown, min(FRAMES, len(shown)))
    tally = Tally()
    for reading in shown:
        frame = encoder.encode([reading])
        frame = with_parity(frame) if parity else frame
        for place in range(len(frame)):
            for bit in wire_bits(framing, parity):
                damaged = bytearray(frame)
                damaged[place] ^= 1 << bit
                _judge(framing, frame, bytes(damaged), tally)
    return tally


def _judge(framing: Framing, frame: bytes, damaged: bytes, tally: Tally) -> None:
    decoder = framing.decoder()
    sent = decoder.feed(frame * 10, 0.0)[-1]
    tally.flips += 1
    got = decoder.feed(damaged + frame, 0.0)
    others = [r for r in got if not _same(r, sent)]
    tally.extra += max(0, len(got) - 2)
    if not others:
        return
    tally.wrong += 1
    other = others[0]
    step = max(other.resolution, sent.resolution)
    if other.quantity is sent.quantity and abs(other.value - sent.value) <= NEAR_COUNTS * step * 1.0001:
        tally.near += 1
    elif Flag.DOUBTFUL in other.flags:
        tally.doubted += 1
    if _sends(framing, decoder, damaged, other._replace(flags=other.flags & ~Flag.DOUBTFUL)):
        tally.legal += 1


def _same(a: Reading, b: Reading) -> bool:
    return a[:3] == b[:3] and a.flags == b.flags and (a.resolution == b.resolution or math.isnan(a.resolution))


def _sends(framing: Framing, decoder: Decoder, damaged: bytes, reading: Reading) -> bool:
    """Tell whether the damaged frame is one that the meter sends for that reading: the encoder's, but for bits that do
    not change what either of them shows."""
    try:
        own = framing.encoder().encode([reading])
    except EncodeError:
        return False
    if len(own) != len(damaged):
        return framing.driver.name == "text"  # the same number may be written in several ways
    for place in range(len(own)):
        if own[place] != damaged[place]:
            mixed = own[:place] + damaged[place : place + 1] + own[place + 1 :]
            plain = [r._replace(flags=r.flags & ~Flag.DOUBTFUL) for r in decoder.feed(mixed, 0.0)]
            if not any(_same(r, reading) for r in plain):
                return False
    return True


@dataclass
class Feed:
    """The values shown: volts a reading, and where it fell for one reading."""

    volts: list[float]
    dropouts: list[int] = field(default_factory=list)
    prime: bool = False


def healthy(rng: random.Random, count: int) -> Feed:
    """A battery that drifts a little, with noise."""
    return Feed([LEVEL_V + 0.1 * math.sin(n / 700) + rng.gauss(0.0, NOISE_V) for n in range(count)])


def primed(rng: random.Random, count: int) -> Feed:
    """0 V, a prime of two seconds, 0 V again: as often as fits, each alone."""
    feed = Feed([0.0] * count, prime=True)
    for start in range(50, count - 60, 400):
        for n in range(6):
            edge = rng.random() if n in (0, 5) else 1.0
            feed.volts[start + n] = edge * (LEVEL_V - 0.4) + rng.gauss(0.0, NOISE_V)
    return feed


def falling(rng: random.Random, count: int, whole: bool) -> Feed:
    """A healthy supply that falls for one reading now and then: to 0 V, or to less than half of it."""
    feed = healthy(rng, count)
    for at in range(BETWEEN_DROPOUTS, count - 50, BETWEEN_DROPOUTS):
        feed.volts[at] = 0.0 if whole else rng.uniform(0.0, 0.48) * LEVEL_V
        feed.dropouts.append(at)
    return feed


FEEDS: dict[str, Callable[[random.Random, int], Feed]] = {
    "healthy": healthy,
    "primes": primed,
    "falls to 0": partial(falling, whole=True),
    "falls partly": partial(falling, whole=False),
}


def recorded(readings: list[Reading]) -> Contents:
    """A session in memory: what `analyze` wants."""
    by_quantity: dict[Quantity, list[Reading]] = {}
    for reading in readings:
        by_quantity.setdefault(reading.quantity, []).append(reading)
    return Contents(
        {n: _series(some) for n, some in enumerate(by_quantity.values(), 1)},
        [Channel(n, "pump feed", q) for n, q in enumerate(by_quantity, 1)],
        details={"system_v": "12"},
        path=Path("a feed"),
        duration_s=readings[-1].time_s,
    )


def _series(some: list[Reading]) -> Series:
    return Series(
        np.array([r.time_s for r in some]),
        np.array([r.value for r in some]),
        np.array([r.resolution for r in some], np.float32),
        np.array([int(r.flags) for r in some], np.uint16),
    )


def sent(framing: Framing, feed: Feed, parity: bool, rng: random.Random) -> tuple[list[Reading], int, int]:
    """The readings of a feed with flipped bits; how many of them are wrong by more than can be seen, and how many of
    those are not marked doubtful."""
    encoder, decoder, bits = framing.encoder(), framing.decoder(), wire_bits(framing, parity)
    readings: list[Reading] = []
    wrong = plain = 0
    frames: dict[float, bytes] = {}
    for n, volts in enumerate(feed.volts):
        value = round(volts, 2) or 0.0
        if value not in frames:
            shown = nearest_shown(encoder, Reading(0.0, value, Quantity.DC_VOLTAGE, 0.01, Flag.DC | Flag.AUTORANGE))
            assert shown is not None
            frame = encoder.encode([shown])
            frames[value] = with_parity(frame) if parity else frame
        frame = frames[value]
        if rng.random() < 1 / ONE_IN:
            damaged = bytearray(frame)
            damaged[rng.randrange(len(frame))] ^= 1 << rng.choice(bits)
            frame = bytes(damaged)
        for reading in decoder.feed(frame, n * INTERVAL_S):
            readings.append(reading)
            if reading.quantity is not Quantity.DC_VOLTAGE or abs(reading.value - value) > NEAR_COUNTS * 0.01:
                wrong += 1
                plain += Flag.DOUBTFUL not in reading.flags
    return readings, wrong, plain


@dataclass
class Verdicts:
    """The verdicts on the feeds of one framing."""

    frames: int = 0
    wrong: int = 0
    undoubted: int = 0
    false: Counter[str] = field(default_factory=Counter)
    found: int = 0
    dropouts: int = 0


def judge_feed(framing: Framing, feed: Feed, parity: bool, rng: random.Random, verdicts: Verdicts) -> None:
    """Send a feed, analyze what came, and count."""
    readings, wrong, undoubted = sent(framing, feed, parity, rng)
    analysis = analyze(recorded(readings))
    verdicts.frames += len(feed.volts)
    verdicts.wrong += wrong
    verdicts.undoubted += undoubted
    seen = set()
    for event in analysis.events:
        at = [d for d in feed.dropouts if event.start_s - INTERVAL_S <= d * INTERVAL_S <= event.end_s + INTERVAL_S]
        if event.kind in ("dropout", "sag") and at:
            seen.update(at)
        elif event.kind != "gap" and not (event.kind == "prime_pulse" and feed.prime):
            verdicts.false[event.kind] += 1
    if not feed.dropouts:
        verdicts.false["outside"] += sum(f.verdict == "outside" for f in analysis.findings)
    verdicts.found += len(seen)
    verdicts.dropouts += len(feed.dropouts)


def feeds(address: str, parity: bool, count: int, seeds: int) -> Iterator[tuple[str, Verdicts]]:
    """Each kind of feed over some seeds."""
    framing = framing_of(address)
    for name, make in FEEDS.items():
        verdicts = Verdicts()
        for seed in range(seeds):
            rng = random.Random(f"{seed} {name}")
            judge_feed(framing, make(rng, count), parity, rng, verdicts)
        yield name, verdicts


def single_lines(framings: Sequence[tuple[str, bool]]) -> Iterator[str]:
    """The table of single frames."""
    yield "| framing | flips | wrong | legal | near | doubted of the rest | extra |"
    yield "|---|---|---|---|---|---|---|"
    for address, parity in framings:
        tally = flips(address, parity)
        near = tally.near / tally.wrong if tally.wrong else 0.0
        far = tally.wrong - tally.near
        doubted = f"{tally.doubted / far:.1%}" if far else "-"
        yield (
            f"| {_name(address, parity)} | {tally.flips} | {tally.wrong / tally.flips:.2%} |"
            f" {tally.legal / tally.flips:.2%} | {near:.0%} | {doubted} | {tally.extra} |"
        )


def feed_lines(framings: Sequence[tuple[str, bool]], count: int, seeds: int) -> Iterator[str]:
    """The table of feeds."""
    yield "| framing | feed | frames | wrong readings | of them not doubted | false verdicts | true dropouts found |"
    yield "|---|---|---|---|---|---|---|"
    for address, parity in framings:
        for name, v in feeds(address, parity, count, seeds):
            said = ", ".join(f"{n} {kind}" for kind, n in sorted(v.false.items()) if n) or "0"
            found = f"{v.found} of {v.dropouts} ({v.found / v.dropouts:.1%})" if v.dropouts else "-"
            yield f"| {_name(address, parity)} | {name} | {v.frames} | {v.wrong} | {v.undoubted} | {said} | {found} |"


def _name(address: str, parity: bool) -> str:
    name, told, _ = address.replace(":x", "", 1).partition("told=")
    return f"`{name}{told}{'...' * bool(told)}`" + (", parity checked" if parity else "")


def main() -> None:
    """Print both tables."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench.bitflips", description=__doc__)
    parser.add_argument("--frames", type=int, default=FULL, help=f"frames a feed (default {FULL})")
    parser.add_argument("--seeds", type=int, default=20, help="feeds of each kind (default 20)")
    parser.add_argument("--only", nargs="+", metavar="DRIVER", default=[], help="only these drivers' framings")
    args = parser.parse_args()
    fed, single = (
        [one for one in some if not args.only or driver_of(one[0]) in args.only] for some in (FRAMINGS, FRAMINGS + MORE)
    )
    said = []
    for lines in (single_lines(single), [""], feed_lines(fed, args.frames, args.seeds)):
        for line in lines:
            print(line, flush=True)
            said.append(line)
    if args.frames >= FULL:
        write(f"flipped bits{' of ' * bool(args.only)}{', '.join(args.only)}", said)


if __name__ == "__main__":
    main()
