"""How fast a session is analyzed: `python -m tests.bench.speed [readings]`; ratios to one `numpy.sum` in the same run.

The log is a supply at 10 readings/s with noise and one event in 10,000 readings (dropouts, sags, overvoltages in turn).
Whole analysis: all kinds, measures, errors and findings, on readings that are in memory.
"""

from __future__ import annotations

import sys
import time
import tracemalloc
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime
from functools import partial

import numpy as np

from meterlog.analysis import analyze
from meterlog.events.detect import detect
from meterlog.events.live import LiveDetector
from meterlog.reading import Quantity, Reading
from meterlog.series import Series
from meterlog.session.model import Channel, Marker

CHANNEL = Channel(1, "feed", Quantity.DC_VOLTAGE)
EVERY = 10_000
MOST_TIMES_SUM, MOST_TIMES_ARRAYS, MOST_LIVE_US = 100.0, 5.0, 20.0


@dataclass
class Memory:
    """A session in memory."""

    only: Series
    channels: list[Channel] = field(default_factory=lambda: [CHANNEL])
    markers: list[Marker] = field(default_factory=list)
    details: dict[str, str] = field(default_factory=dict)
    path: str = "memory"
    started_at: datetime = datetime(2024, 1, 1, tzinfo=UTC)

    @property
    def duration_s(self) -> float:
        """When the last reading was shown, s."""
        return float(self.only.time_s[-1])

    def series(self, channel: int) -> Series:
        """The readings."""
        assert channel == CHANNEL.number
        return self.only


def log_of(n: int) -> Series:
    """A supply with an event in every `EVERY` readings."""
    rng = np.random.default_rng(1)
    value = np.round(13.8 + rng.normal(0.0, 0.02, n), 2)
    for k, start in enumerate(range(EVERY // 2, n - 100, EVERY)):
        value[start : start + int(rng.integers(4, 40))] = (0.0, 9.5, 15.6)[k % 3]
    time_s = np.asarray(np.arange(n) * 0.1, dtype=np.float64)
    return Series(time_s, value, np.full(n, 0.01, np.float32), np.zeros(n, np.uint16))


def best_s(work: Callable[[], object], times: int = 3) -> float:
    """The shortest of some runs, s."""
    took = []
    for _ in range(times):
        start = time.perf_counter()
        work()
        took.append(time.perf_counter() - start)
    return min(took)


def live_us(n: int = 200_000) -> float:
    """Live detection, one reading a call, us a reading."""
    series = log_of(n)
    readings = [
        Reading(t, v, Quantity.DC_VOLTAGE, 0.01)
        for t, v in zip(series.time_s.tolist(), series.value.tolist(), strict=True)
    ]
    detector = LiveDetector(CHANNEL)
    start = time.perf_counter()
    for reading in readings:
        detector.feed([reading])
    detector.finish()
    return 1e6 * (time.perf_counter() - start) / n


def main(argv: list[str]) -> int:
    """Print the figures; 1 where a goal is missed."""
    most = int(float(argv[0])) if argv else 10_000_000
    print("  readings   sum ms  detect ms  analyze ms  x sum  peak x arrays  us/1000")
    ratio = share = 0.0
    for n in (most // 10, most // 3, most):
        series = log_of(n)
        session = Memory(series)
        sum_s = best_s(series.value.sum, 7)
        detect_s, analyze_s = best_s(partial(detect, CHANNEL, series)), best_s(partial(analyze, session))
        arrays = series.time_s.nbytes + series.value.nbytes + series.resolution.nbytes + series.flags.nbytes
        tracemalloc.start()
        analyze(session)
        share = (arrays + tracemalloc.get_traced_memory()[1]) / arrays
        tracemalloc.stop()
        ratio = analyze_s / sum_s
        figures = f"{sum_s * 1e3:8.2f} {detect_s * 1e3:10.1f} {analyze_s * 1e3:11.1f} {ratio:6.1f}"
        print(f"{n:10d} {figures} {share:14.2f} {1e9 * analyze_s / n:8.1f}")
    live = live_us()
    print(f"live, one reading a call: {live:.1f} us a reading")
    missed = ratio > MOST_TIMES_SUM or share > MOST_TIMES_ARRAYS or live > MOST_LIVE_US
    print("a goal is missed" if missed else "all goals are met")
    return int(missed)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
