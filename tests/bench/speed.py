"""Times the analysis: `python -m tests.bench.speed [readings]`; ratios to one `numpy.sum` in the same run.

The log is a supply at 10 readings/s with noise and one event in 10,000 readings (dropouts, sags, overvoltages in turn),
or a current (interruptions, falls to a third, another load switched on), or both together.
Whole analysis: all kinds, measures, errors and findings, on readings that are in memory.
"""

from __future__ import annotations

import sys
import time
import tracemalloc
from collections.abc import Iterator
from functools import partial

import numpy as np

from meterlog.analysis import analyze
from meterlog.events.detect import detect
from meterlog.events.live import LiveDetector
from meterlog.reading import Quantity, Reading
from meterlog.series import Series
from meterlog.session.contents import Contents
from meterlog.session.model import Channel
from tests.bench.table import Row, at_most, best_s, in_turns, show

CHANNEL = Channel(1, "feed", Quantity.DC_VOLTAGE)
CLAMP = Channel(2, "lamp current", Quantity.DC_CURRENT)
LEVELS = {CHANNEL.number: (13.8, (0.0, 9.5, 15.6)), CLAMP.number: (4.8, (0.0, 1.6, 7.0))}
"""Of each channel what it stands at, and what its events go to, in turn."""
EVERY = 10_000
CLOCK = time.process_time
"""One thread: what other programs take of the processor is not counted."""
MOST_TIMES_SUM, MOST_TIMES_ARRAYS, MOST_LIVE_US = 100.0, 5.0, 20.0
MOST_GROWTH = 1.25
"""Ten times the readings may cost so much more a reading: noise, not growth."""


def log_of(n: int, channel: Channel = CHANNEL) -> Series:
    """A channel with an event in every `EVERY` readings."""
    rng = np.random.default_rng(1)
    level, falls = LEVELS[channel.number]
    value = np.round(level + rng.normal(0.0, 0.02, n), 2)
    for k, start in enumerate(range(EVERY // 2, n - 100, EVERY)):
        value[start : start + int(rng.integers(4, 40))] = falls[k % len(falls)]
    time_s = np.asarray(np.arange(n) * 0.1, dtype=np.float64)
    return Series(time_s, value, np.full(n, 0.01, np.float32), np.zeros(n, np.uint16))


def live_us(channel: Channel = CHANNEL, n: int = 200_000) -> float:
    """Live detection, one reading a call, us a reading."""
    series = log_of(n, channel)
    readings = [
        Reading(t, v, channel.quantity, 0.01)
        for t, v in zip(series.time_s.tolist(), series.value.tolist(), strict=True)
    ]
    detector = LiveDetector(channel)
    start = CLOCK()
    for reading in readings:
        detector.feed([reading])
    detector.finish()
    return 1e6 * (CLOCK() - start) / n


def rows(most: int = 10_000_000) -> Iterator[Row]:
    """Time, memory, growth, live."""
    a_reading_s = []
    for n in (most // 10, most):
        series = log_of(n)
        session = Contents({CHANNEL.number: series}, [CHANNEL], duration_s=float(series.time_s[-1]))
        sum_s = best_s(series.value.sum, 7, CLOCK)
        detect_s, analyze_s = in_turns(
            partial(detect, CHANNEL, series), partial(analyze, session), times=3, clock=CLOCK
        )
        a_reading_s.append(analyze_s / n)
    figures = f"{analyze_s:.2f} s; events alone {detect_s / sum_s:.0f} x"
    what = f"{most / 1e6:g} M readings with {most // EVERY} events"
    yield at_most(f"analyzing {what}", analyze_s / sum_s, MOST_TIMES_SUM, "x numpy.sum", figures)
    arrays = series.time_s.nbytes + series.value.nbytes + series.resolution.nbytes + series.flags.nbytes
    tracemalloc.start()
    analyze(session)
    share = (arrays + tracemalloc.get_traced_memory()[1]) / arrays
    tracemalloc.stop()
    yield at_most("its peak memory", share, MOST_TIMES_ARRAYS, "x the arrays", f"the arrays are {arrays / 1e6:.0f} MB")
    small, large = a_reading_s
    ratio = f"{1e9 * small:.0f} ns, then {1e9 * large:.0f} ns a reading"
    yield at_most("its time a reading, ten times the readings", large / small, MOST_GROWTH, "x", ratio)
    live = live_us()
    ratio = f"{1000 * live / (1e9 * large):.0f} x a reading analyzed at once"
    yield at_most("live detection, one reading a call", live, MOST_LIVE_US, "us", ratio)
    yield at_most("the same of a current", live_us(CLAMP), MOST_LIVE_US, "us")
    yield from _with_current(most)


def _with_current(n: int) -> Iterator[Row]:
    """Time a current alone, and a supply with its current."""
    amperes = log_of(n, CLAMP)
    alone = Contents({CLAMP.number: amperes}, [CLAMP], duration_s=float(amperes.time_s[-1]))
    both = Contents({CHANNEL.number: log_of(n), CLAMP.number: amperes}, [CHANNEL, CLAMP], duration_s=alone.duration_s)
    sum_s = best_s(amperes.value.sum, 7, CLOCK)
    alone_s, both_s = in_turns(partial(analyze, alone), partial(analyze, both), times=2, clock=CLOCK)
    what = f"{n / 1e6:g} M readings of a current"
    yield at_most(f"analyzing {what}", alone_s / sum_s, MOST_TIMES_SUM, "x numpy.sum", f"{alone_s:.2f} s")
    times = both_s / (2 * sum_s)
    yield at_most(f"{what} and as many of its supply", times, MOST_TIMES_SUM, "x numpy.sum of both", f"{both_s:.2f} s")


if __name__ == "__main__":
    sys.exit(show(rows(*(int(float(word)) for word in sys.argv[1:2]))) > 0)
