"""Suspensions of this computer, during which the clock that times the readings stands still.

`time.monotonic()` leaves a suspension out on Linux (clock_gettime(2): CLOCK_MONOTONIC; CLOCK_BOOTTIME counts it) and on
macOS (mach_absolute_time; CLOCK_MONOTONIC counts it there; unverified), so without this a session would join what came
before to what came after as if nothing had been missed. Windows counts it in.
"""

from __future__ import annotations

import sys
import time

from meterlog.reading import Reading

LEAST_S = 1.0
"""Shortest suspension that counts, s: above the time between reading two clocks (a guess)."""


def suspended_s() -> float:
    """All suspensions since this computer was started, s; 0 where they are in `time.monotonic()` anyway."""
    if sys.platform == "linux":
        return time.clock_gettime(time.CLOCK_BOOTTIME) - time.monotonic()
    if sys.platform == "darwin":
        return time.clock_gettime(time.CLOCK_MONOTONIC) - time.monotonic()
    return 0.0


class Suspensions:
    """Counts this computer's suspensions during a recording into its times."""

    def __init__(self) -> None:
        """Begin now."""
        self._before_s = suspended_s()
        self._counted_s = 0.0

    def more_s(self) -> float:
        """Return how long the computer slept since the last call, s, and count it in from now on."""
        more_s = suspended_s() - self._before_s - self._counted_s
        if more_s < LEAST_S:
            return 0.0
        self._counted_s += more_s
        return more_s

    def counted_in(self, readings: list[Reading]) -> list[Reading]:
        """Return the readings with the suspensions so far in their times."""
        if not self._counted_s:
            return readings
        return [reading._replace(time_s=reading.time_s + self._counted_s) for reading in readings]
