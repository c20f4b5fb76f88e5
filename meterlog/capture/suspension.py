"""How long this computer has been suspended: the clock that readings are timed by stands still meanwhile.

`time.monotonic()` leaves a suspension out on Linux (clock_gettime(2): CLOCK_MONOTONIC; CLOCK_BOOTTIME counts it) and on
macOS (mach_absolute_time; CLOCK_MONOTONIC counts it there; unverified), so without this a session would join what came
before to what came after as if nothing had been missed. Windows counts it in.
"""

from __future__ import annotations

import sys
import time

LEAST_S = 1.0
"""A shorter one is not told from the time between two looks at two clocks."""


def suspended_s() -> float:
    """All suspensions since this computer was started, s; 0 where they are in `time.monotonic()` anyway."""
    if sys.platform == "linux":
        return time.clock_gettime(time.CLOCK_BOOTTIME) - time.monotonic()
    if sys.platform == "darwin":
        return time.clock_gettime(time.CLOCK_MONOTONIC) - time.monotonic()
    return 0.0
