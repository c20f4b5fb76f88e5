"""Groups chunks into bursts: what a meter sends without a pause."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import NamedTuple

from meterlog.transports import Chunk

BIMODAL = 3.0
"""So many times longer than those inside a frame are the pauses between two (guess: a meter is silent longer than it
speaks)."""
SHARE = 0.1
"""The least share of all pauses on either side of the border; a guess."""


class Burst(NamedTuple):
    """Bytes without a pause.

    Attributes:
        data: the bytes.
        time_s: when the first of them left the meter, s.
        pause_s: the silence before it, s; 0 for the first.
    """

    data: bytes
    time_s: float
    pause_s: float


def bursts(chunks: Sequence[Chunk], byte_time_s: float) -> list[Burst]:
    """Group chunks at the pauses; each chunk is one where the pauses between them are all alike."""
    border_s = _border_s(chunks, byte_time_s)
    found: list[Burst] = []
    last_s = None
    for data, arrival_s in chunks:
        begin_s = arrival_s - len(data) * byte_time_s
        pause_s = 0.0 if last_s is None else max(0.0, begin_s - last_s)
        if found and pause_s < border_s:
            found[-1] = found[-1]._replace(data=found[-1].data + data)
        else:
            found.append(Burst(data, begin_s, pause_s))
        last_s = arrival_s
    return found


def _border_s(chunks: Sequence[Chunk], byte_time_s: float) -> float:
    """The pause that separates bursts: in the widest jump between short pauses and long ones; 0 where there is none."""
    pauses = sorted(max(1e-4, b.arrival_s - len(b.data) * byte_time_s - a.arrival_s) for a, b in pairwise(chunks))
    least = max(1, int(SHARE * len(pauses)))
    jumps = [(pauses[n] / pauses[n - 1], n) for n in range(least, len(pauses) - least + 1) if n < len(pauses)]
    ratio, n = max(jumps, default=(0.0, 0))
    return float((pauses[n] * pauses[n - 1]) ** 0.5) if ratio > BIMODAL else 0.0
