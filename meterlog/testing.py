"""Says what every framing promises, as checks for the tests of a driver: `check_framing("mymeter:x", shown)`.

Each check raises an AssertionError that says what does not hold. The project's own drivers are held to the same.
"""

from __future__ import annotations

import math
import random
import tracemalloc
from collections.abc import Sequence

from meterlog.driver.framing import Framing, framing_of
from meterlog.errors import EncodeError
from meterlog.reading import Flag, Quantity, Reading

__all__ = [
    "check_framing",
    "comes_back",
    "in_step_after",
    "keeps_little",
    "refuses_what_it_cannot_show",
    "same",
    "same_however_cut",
    "timed_by_its_first_byte",
]

_STREAMS = 100
"""Random streams a check tries (a choice: some tenths of a second)."""
_MOST_KEPT = 3_000_000
"""Bytes a decoder may keep beyond its first ten thousand frames: what it remembers of frames must have an end."""


def check_framing(address: str, shown: Sequence[Reading], seed: int = 1) -> None:
    """Run every check.

    Args:
        address: the driver's, with any port: `mymeter:x`.
        shown: readings that the meter can show, as they must come back: each mode, both signs, overload, each flag.
        seed: of the random streams.

    Raises:
        AssertionError: with what does not hold.
    """
    framing, rng = framing_of(address), random.Random(seed)
    comes_back(framing, shown)
    timed_by_its_first_byte(framing, shown)
    refuses_what_it_cannot_show(framing)
    for _ in range(_STREAMS):
        parts = [
            framing.encoder().encode([rng.choice(shown)]) if rng.random() < 0.5 else rng.randbytes(rng.randrange(20))
            for _ in range(rng.randrange(12))
        ]
        stream = b"".join(parts)
        same_however_cut(framing, stream, sorted(rng.randrange(len(stream) + 1) for _ in range(rng.randrange(10))))
        in_step_after(framing, rng.sample(list(shown), min(3, len(shown))), rng.randbytes(rng.randrange(600)))
    keeps_little(framing, shown, rng)


def same(got: Sequence[Reading], wanted: Sequence[Reading]) -> bool:
    """Tell whether readings are equal, an unknown resolution being equal to another."""
    return [_comparable(reading) for reading in got] == [_comparable(reading) for reading in wanted]


def comes_back(framing: Framing, shown: Sequence[Reading]) -> None:
    """Each reading that can be shown comes back, and nothing of its bytes is thrown away."""
    encoder, decoder = framing.encoder(), framing.decoder()
    for wanted in shown:
        got = decoder.feed(encoder.encode([wanted]), 0.0)
        assert same(got, [wanted]), f"{wanted} came back as {got}"
    assert decoder.traffic.frames_good == len(shown), f"{decoder.traffic.frames_good} of {len(shown)} frames are good"
    lost = decoder.traffic.bytes_discarded + decoder.traffic.frames_refused
    assert lost == 0, f"parts of good frames were thrown away: {decoder.traffic}"


def same_however_cut(framing: Framing, stream: bytes, cuts: Sequence[int]) -> None:
    """The same bytes give the same readings and counts, cut at these places, byte by byte, or whole."""
    whole, cut, single = framing.decoder(), framing.decoder(), framing.decoder()
    wanted = whole.feed(stream, 5.0)
    pieces = [stream[start:end] for start, end in zip([0, *cuts], [*cuts, len(stream)], strict=True)]
    got = [reading for piece in pieces for reading in cut.feed(piece, 5.0)]
    assert same(got, wanted), f"cut at {cuts}, {stream.hex(' ')} gives {got}, whole {wanted}"
    assert cut.traffic == whole.traffic, f"cut at {cuts}: {cut.traffic}, whole {whole.traffic}"
    got = [reading for byte in stream for reading in single.feed(bytes([byte]), 5.0)]
    assert same(got, wanted), f"byte by byte {stream.hex(' ')} gives {got}, whole {wanted}"


def in_step_after(framing: Framing, shown: Sequence[Reading], noise: bytes) -> None:
    """Any bytes neither raise nor stop what comes after: two frames later at most the decoder is in step again."""
    decoder = framing.decoder()
    decoder.feed(noise, 0.0)
    frames = [framing.encoder().encode([reading]) for reading in shown]
    got = decoder.feed(b"".join(frames[:1] * 2 + frames), 0.0)
    assert same(got[-len(shown) :], shown), f"after {noise.hex(' ')} {shown} is read as {got}"


def timed_by_its_first_byte(framing: Framing, shown: Sequence[Reading]) -> None:
    """A reading's time is when its first byte left the meter, also where two frames come in one chunk."""
    byte_time_s = 0.001
    decoder = framing.decoder(byte_time_s)
    frame = framing.encoder().encode([shown[0]])
    end_s = 10.0 + 2 * len(frame) * byte_time_s
    early = decoder.feed(frame[:3], 10.0 + 3 * byte_time_s)
    assert early == [], f"a reading came before its frame was whole: {early}"
    first, second = decoder.feed(frame[3:] + frame, end_s)
    for reading, wanted_s in ((first, 10.0), (second, end_s - len(frame) * byte_time_s)):
        assert abs(reading.time_s - wanted_s) < 2.1 * byte_time_s, f"timed {reading.time_s} s instead of {wanted_s} s"


def refuses_what_it_cannot_show(framing: Framing) -> None:
    """The encoder says so instead of showing another number."""
    try:
        framing.encoder().encode([Reading(0.0, 1.0, Quantity.RESISTANCE, 1.0, Flag.NONE, column=9)])
    except EncodeError:
        return
    raise AssertionError("a reading of column 9 was encoded: raise EncodeError for what the meter cannot show")


def keeps_little(framing: Framing, shown: Sequence[Reading], rng: random.Random) -> None:
    """Noise and damaged frames without end do not grow memory."""
    decoder, encoder = framing.decoder(), framing.encoder()
    frames = [encoder.encode([reading]) for reading in shown]

    def feed() -> None:
        for _ in range(30):
            good = b"".join(rng.choices(frames, k=20))
            damaged = bytes(byte ^ (1 << rng.randrange(8)) if rng.random() < 0.02 else byte for byte in good)
            decoder.feed(rng.randbytes(3000) + damaged, 0.0)

    feed()
    tracemalloc.start()
    try:
        for _ in range(3):
            feed()
        grown = tracemalloc.get_traced_memory()[0]
    finally:
        tracemalloc.stop()
    assert grown < _MOST_KEPT, f"{framing.address} grew by {grown} bytes"


def _comparable(reading: Reading) -> Reading:
    return reading._replace(resolution=-1.0) if math.isnan(reading.resolution) else reading
