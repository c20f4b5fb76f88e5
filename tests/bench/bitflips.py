"""How often one flipped bit makes a wrong reading, a driver: `python -m tests.bench.bitflips`.

Every bit of every frame that a driver can show (at most `FRAMES` of them, a seeded draw) is flipped, between two good
frames. `wrong` is the share of flips after which some reading is not what was sent. `legal` is the share where the
damaged frame is, but for bits without meaning, just what the encoder sends for that other reading: no decoder that
knows the byte table alone can tell. The few that are wrong and not `legal` are frames that the table names and the
encoder never writes: degrees Fahrenheit, and the same value with another prefix.
`near` is the share of the wrong ones that are off by at most ten counts, which nobody could see.
"""

from __future__ import annotations

import math
import random
from dataclasses import dataclass

from meterlog.errors import EncodeError
from meterlog.framing import Decoder, Framing, framing_of
from meterlog.reading import Reading
from meterlog_drivers.every_mode import every_mode

FRAMES = 60
NEAR_COUNTS = 10


@dataclass
class Tally:
    """What became of the flips."""

    flips: int = 0
    wrong: int = 0
    legal: int = 0
    near: int = 0
    extra: int = 0


def with_parity(frame: bytes) -> bytes:
    """Odd parity in the eighth bit: what an 8N1 port delivers of a 7O1 line."""
    return bytes(b | (0 if b.bit_count() % 2 else 0x80) for b in frame)


def flips(address: str, parity: bool, seed: int = 1) -> Tally:
    """Flip every bit of a draw of a driver's frames."""
    framing = framing_of(address)
    encoder = framing.encoder()
    shown = list(every_mode(encoder))
    shown = random.Random(seed).sample(shown, min(FRAMES, len(shown)))
    tally, decoder = Tally(), framing.decoder()
    for reading in shown:
        frame = encoder.encode([reading])
        frame = with_parity(frame) if parity else frame
        (sent,) = decoder.feed(frame, 0.0)
        for bit in range(8 * len(frame)):
            if bit % 8 == 7 and parity is False and framing.driver.lines[0].data_bits == 7:
                continue  # there is no eighth bit on the wire
            damaged = bytearray(frame)
            damaged[bit // 8] ^= 1 << bit % 8
            _judge(framing, decoder, frame, bytes(damaged), sent, tally)
    return tally


def _judge(framing: Framing, decoder: Decoder, frame: bytes, damaged: bytes, sent: Reading, tally: Tally) -> None:
    tally.flips += 1
    got = decoder.feed(frame + damaged + frame, 0.0)
    others = [r for r in got if not _same(r, sent)]
    tally.extra += max(0, len(got) - 3)
    if not others:
        return
    tally.wrong += 1
    (other,) = others
    step = max(other.resolution, sent.resolution)
    if other.quantity is sent.quantity and abs(other.value - sent.value) <= NEAR_COUNTS * step * 1.0001:
        tally.near += 1
    if _sends(framing, decoder, damaged, other):
        tally.legal += 1


def _same(a: Reading, b: Reading) -> bool:
    return a[:3] == b[:3] and a.flags == b.flags and (a.resolution == b.resolution or math.isnan(a.resolution))


def _sends(framing: Framing, decoder: Decoder, damaged: bytes, reading: Reading) -> bool:
    """Whether the damaged frame is one that the meter sends for that reading: the encoder's, but for bits that do
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
            if [r for r in decoder.feed(mixed, 0.0) if _same(r, reading)] == []:
                return False
    return True


def main() -> None:
    """Print the table."""
    print(f"{'driver':<44}{'flips':>8}{'wrong':>9}{'legal':>9}{'near':>7}{'extra':>7}")
    for address, parity in (
        ("status14:x", False),
        ("segments14:x", False),
        ("digits11:x", False),
        ("digits11:x?status=judge-first", False),
        ("digits11:x", True),
        ("digits14:x", False),
        ("digits14:x", True),
        ("chars16:x", False),
        ("text:x", False),
        ("frames:x?profile=chars16-frames", False),
        ("frames:x?profile=status14-frames", False),
    ):
        tally = flips(address, parity)
        name = address + (" as 8N1, parity checked" if parity else "")
        near = tally.near / tally.wrong if tally.wrong else 0.0
        print(
            f"{name:<44}{tally.flips:>8}{tally.wrong / tally.flips:>9.2%}{tally.legal / tally.flips:>9.2%}"
            f"{near:>7.0%}{tally.extra:>7}"
        )


if __name__ == "__main__":
    main()
