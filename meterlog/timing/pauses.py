"""The rule that a frame is contiguous: what lies before a pause and what comes after it are not one frame.

A meter sends a frame without a pause. Half a frame, a pause and another half are two damaged frames (a plug that was
out for a moment, a meter switched off), and together would show a number that nobody saw.

How long a pause inside a frame may be depends on the link:

- A wire of known rate: `HELD_BACK_S` and `CHARACTERS` of its characters. USB adapters hold bytes back for 16 ms (a
  usual default, unverified), and a reader that waits for the processor is up to 20 ms late (measured).
- A link that bundles (TCP, Bluetooth, a pseudo-terminal): `BUNDLED_S`. A lost TCP segment comes again after 0.2 s at
  the earliest on Linux (from memory, unverified). Bluetooth connection intervals are 7.5 ms to 4 s (Core
  Specification, Vol 6, Part B, 4.5.1), but 50 ms or less where the system chooses (from memory, unverified).

A longer pause costs the frame that it fell into, which is counted; it never makes a reading. A link that bundles and is
slower than `BUNDLED_S` loses the frames that it cuts. Two halves closer together than the longest pause cannot be told
from one frame; meters that send four times a second or less leave more time between two frames.
"""

from __future__ import annotations

import math

HELD_BACK_S = 0.05
"""Longest delay inside one frame on a wire, s; shorter than the pause between two frames at ten a second."""
CHARACTERS = 4
"""Further delay inside a frame on a wire, in characters; a guess."""
BUNDLED_S = 0.24
"""Longest delay inside one frame on a link that bundles, s; less than the interval of a meter at 4 a second."""


def longest_pause_s(byte_time_s: float) -> float:
    """The longest pause inside a frame, s, on a line with this byte time (0: a link that bundles)."""
    return HELD_BACK_S + CHARACTERS * byte_time_s if byte_time_s else BUNDLED_S


class Pauses:
    """Tells which chunks follow a pause.

    Args:
        byte_time_s: how long one byte takes on the wire, s; 0 where that is unknown.
        longest_s: a longer silence is a pause, s; by default the longest that there is inside a frame.
    """

    def __init__(self, byte_time_s: float, longest_s: float | None = None) -> None:
        self._byte_time_s = byte_time_s
        self._longest_s = longest_pause_s(byte_time_s) if longest_s is None else longest_s
        self._last_s = math.inf

    def before(self, data: bytes, arrival_s: float) -> bool:
        """Tell whether there was a pause before this chunk's first byte; False for the first chunk of all.

        Call it once for each chunk, in their order.
        """
        pause_s = arrival_s - len(data) * self._byte_time_s - self._last_s
        self._last_s = arrival_s
        return pause_s >= self._longest_s
