"""Finds the frames in what a meter sends: their length, the marks they begin and end with, pauses, parity, checksum."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from meterlog.transports import Chunk
from meterlog_drivers.teach.framing.bursts import Burst, bursts
from meterlog_drivers.teach.framing.check_finder import CheckFound, Frames, find_check

LEAST_FRAMES = 6
"""Frames without which nothing is said; a guess."""
LENGTHS = range(3, 65)
"""Lengths that are looked for: the longest frame known here has 22 bytes."""
CONSTANT = 0.97
"""A byte that is the same in so many frames is taken for constant: the others are damaged; a guess."""
_ENDS = (b"\r\n", b"\r", b"\n", b"\x03")
_STARTS = (0x02, 0xAA, 0x55, 0xAB, 0xA5, 0x5A, 0x7E, 0xFE)
"""Bytes that protocols like to end and begin with: CR LF, ETX; STX, alternating bits."""


@dataclass(frozen=True)
class FramesFound:
    """Frames of one length.

    Attributes:
        frames: shape (frames, bytes); without the parity bit where there is one.
        time_s: when each began, s.
        start, end: the marks.
        gap_s: the least pause before a frame, where nothing else tells frames apart; else 0.
        fixed: bits that tell a frame, as byte, mask and value: positions that each byte carries.
        parity: `odd`, `even` or empty.
        check: the checksum; None where none was found.
        interval_s: between two frames, s.
        dropped: bytes that belong to none, or to damaged ones.
    """

    frames: Frames
    time_s: NDArray[np.float64]
    start: bytes
    end: bytes
    gap_s: float
    fixed: tuple[tuple[int, int, int], ...]
    parity: str
    check: CheckFound | None
    interval_s: float
    dropped: int

    @property
    def length(self) -> int:
        """Bytes in a frame."""
        return int(self.frames.shape[1])

    @property
    def described(self) -> str:
        """Return what was found, in words."""
        said = [f"{len(self.frames)} frames of {self.length} bytes, one every {self.interval_s:.2g} s"]
        for what, mark in (("beginning with", self.start), ("ending with", self.end)):
            if mark:
                said.append(f"{what} {mark.hex(' ').upper()}")
        if self.fixed:
            said.append("each byte carries its position")
        if self.gap_s:
            said.append(f"told apart by pauses of {self.gap_s * 1000:.0f} ms or more")
        if self.parity:
            said.append(f"{self.parity} parity in the top bit")
        if self.check:
            said.append(f"{self.check.kind} in byte {self.check.at}")
        if self.dropped:
            said.append(f"{self.dropped} bytes belong to no whole frame")
        return ", ".join(said)


def find_frames(chunks: Sequence[Chunk], byte_time_s: float) -> FramesFound | None:
    """Find the frames; None where the bytes have no such structure, or there are too few."""
    groups = bursts(chunks, byte_time_s)
    total = sum(len(chunk.data) for chunk in chunks)
    cut = _cut_at_pauses(groups, byte_time_s) or _cut_by_repetition(groups, byte_time_s)
    if cut is None or len(cut[0]) < LEAST_FRAMES:
        return None
    frames, times, gap_s = cut
    frames, parity = _without_parity(frames)
    fixed = _positions(frames)
    start, end = (b"", b"") if fixed else _marks(frames)
    whole = _with_marks(frames, start, end, fixed)
    frames, times = frames[whole], times[whole]
    if len(frames) < LEAST_FRAMES:
        return None
    found = find_check(frames, len(end)) if not parity else None
    check = None
    if found is not None:
        check, right = found
        frames, times = frames[right], times[right]
    interval_s = float(np.median(np.diff(times))) if len(times) > 1 else 0.0
    keep_gap = gap_s if not (start or end or fixed) else 0.0
    if not (start or end or fixed or keep_gap or check):
        return None
    dropped = total - frames.size
    return FramesFound(frames, times, start, end, keep_gap, fixed, parity, check, interval_s, dropped)


def _cut_at_pauses(groups: list[Burst], byte_time_s: float) -> tuple[Frames, NDArray[np.float64], float] | None:
    """Frames that are bursts of one length, or several to a burst."""
    lengths = Counter(len(burst.data) for burst in groups)
    length, count = max(lengths.items(), key=lambda item: (item[1], item[0]), default=(0, 0))
    if count < 0.5 * len(groups) or count < 3 or length < LENGTHS[0]:
        return None
    chosen = [burst for burst in groups if len(burst.data) == length]
    data = np.array([list(burst.data) for burst in chosen], dtype=np.uint8)
    parts = _parts(data)
    if length // parts not in LENGTHS:
        return None
    length //= parts
    whole = [burst for burst in groups if len(burst.data) % length == 0]  # a late read may bring several at a time
    count_in = [len(burst.data) // length for burst in whole]
    frames = np.frombuffer(b"".join(burst.data for burst in whole), dtype=np.uint8).reshape(-1, length)
    times = np.array(
        [b.time_s + n * length * byte_time_s for b, count in zip(whole, count_in, strict=True) for n in range(count)]
    )
    pauses = [burst.pause_s for burst in chosen[1:]]
    gap_s = 0.4 * float(np.percentile(pauses, 5)) if pauses else 0.0
    return frames, times, min(gap_s, 1.0)


def _parts(data: Frames) -> int:
    """Return how many frames a burst holds: halves or thirds that are alike, or that begin and end alike."""
    length = data.shape[1]
    for parts in (4, 3, 2):
        if length % parts or length // parts < 5:
            continue
        rows = data.reshape(len(data), parts, -1)
        if (rows == rows[:, :1]).all(axis=2).all(axis=1).mean() > 0.8:
            return parts
        ends = rows[:, :, [0, -1]].reshape(-1, 2)
        if (ends == ends[0]).all(axis=1).mean() > CONSTANT:
            return parts
    return 1


def _cut_by_repetition(groups: list[Burst], byte_time_s: float) -> tuple[Frames, NDArray[np.float64], float] | None:
    """Frames that follow one another without pauses: bytes that come again at a constant distance are their marks."""
    data = np.frombuffer(b"".join(burst.data for burst in groups), dtype=np.uint8)
    times = np.concatenate(
        [burst.time_s + byte_time_s * np.arange(len(burst.data)) for burst in groups] or [np.zeros(0)]
    )
    if len(data) < LEAST_FRAMES * LENGTHS[0]:
        return None
    share = {n: float((data[n:] == data[:-n]).mean()) for n in LENGTHS if n * LEAST_FRAMES <= len(data)}
    best = max(share.values(), default=0.0)
    length = min((n for n, value in share.items() if value > 0.93 * best), default=0)
    if best < 0.3 or not length:
        return None
    starts = [n for n in _recurring(data, length) if n + length <= len(data)]
    if len(starts) < LEAST_FRAMES:
        return None
    return np.array([data[n : n + length] for n in starts]), times[starts], 0.0


def _recurring(data: Frames, length: int) -> list[int]:
    """Where frames begin: behind an ending, or with a byte that comes again a frame later; empty where none does."""
    text = data.tobytes()
    for ending in _ENDS[:2]:
        at = [n for n in range(len(text)) if text.startswith(ending, n)]
        follow = [n for n in at if text.startswith(ending, n + length)]
        if len(follow) > 0.7 * len(data) / length:
            return [n + len(ending) for n in follow]
    again = data[:-length][data[:-length] == data[length:]]
    counts = Counter(again.tolist())
    likely = sorted(counts, key=lambda byte: (byte not in _STARTS, -counts[byte]))
    for byte in likely:
        places = np.flatnonzero((data[:-length] == byte) & (data[length:] == byte))
        if 0.7 * len(data) / length < len(places) < 1.3 * len(data) / length:
            return [int(place) for place in places]
    return []


def _without_parity(frames: Frames) -> tuple[Frames, str]:
    """Take the top bit off where it makes the parity of every byte."""
    ones = np.unpackbits(frames[:, :, None], axis=2).sum(axis=2) % 2
    tops = frames >> 7
    for parity, wanted in (("odd", 1), ("even", 0)):
        if (ones == wanted).all(axis=1).mean() > CONSTANT and 0.05 < tops.mean() < 0.95:
            return (frames & 0x7F)[(ones == wanted).all(axis=1)], parity
    return frames, ""


def _marks(frames: Frames) -> tuple[bytes, bytes]:
    """The marks: an end that is one by custom, or the first byte, or the last, where they are constant."""
    constant = _constant(frames)
    usual = np.array([np.bincount(column).argmax() for column in frames.T])
    text = usual.astype(np.uint8).tobytes()
    end = next((e for e in _ENDS if text.endswith(e) and constant[-len(e) :].all()), b"")
    start = b""
    if constant[0] and (not end or text[0] in _STARTS):
        start = text[:2] if constant[1] and text[1] in _STARTS else text[:1]
    if not start and not end and constant[-1]:
        end = text[-1:]
    return start, end


def _constant(frames: Frames) -> NDArray[np.bool_]:
    return np.array([np.bincount(column).max() >= CONSTANT * len(column) for column in frames.T])


def _positions(frames: Frames) -> tuple[tuple[int, int, int], ...]:
    """Nibbles that count the bytes; empty where none do."""
    for mask, shift in ((0xF0, 4), (0x0F, 0)):
        nibbles = frames >> shift & 0x0F
        count = (np.arange(frames.shape[1]) + int(nibbles[0, 0])) & 0x0F
        if (nibbles == count).all(axis=1).mean() > CONSTANT:
            return tuple((n, mask, int(value) << shift) for n, value in enumerate(count))
    return ()


def _with_marks(frames: Frames, start: bytes, end: bytes, fixed: tuple[tuple[int, int, int], ...]) -> NDArray[np.bool_]:
    """Tell which frames bear the marks."""
    whole = np.ones(len(frames), dtype=np.bool_)
    for at, byte in [*enumerate(start), *enumerate(end, frames.shape[1] - len(end))]:
        whole &= frames[:, at] == byte
    for at, mask, value in fixed:
        whole &= frames[:, at] & mask == value
    return whole
