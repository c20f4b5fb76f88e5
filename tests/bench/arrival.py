"""Measures how well events are found where readings arrive in bundles, or are polled faster than the display changes.

`python -m tests.bench.arrival [logs] [first seed] [-v]` reads the logs of the detection bench over links that hand on
what they have in beats of their own, times the readings as a recorder does, and judges the events: recall, precision,
share of durations that the stated error covers, and the same for the readings' own times.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from itertools import count, groupby

import numpy as np
from numpy.typing import NDArray

from meterlog.events.detect import detect
from meterlog.events.event import Event
from meterlog.reading import Quantity, Reading
from meterlog.series import Series
from meterlog.timing.cadence import Cadence
from tests.bench.detection import drawn
from tests.bench.logs import SCENARIOS, Log
from tests.bench.results import write
from tests.bench.score import Score

FRESH = 700_000
"""Seeds from here on were not looked at while the cadence was developed; those below 100,000 were."""

Times = NDArray[np.float64]
Job = tuple[str, str, int]


def every(shown: Times, seconds: float, rng: np.random.Generator) -> Times:
    """Hand on what is there every so often."""
    phase = rng.uniform(0.0, seconds)
    return np.asarray(np.ceil((shown - phase) / seconds) * seconds + phase)


def by_five(shown: Times, _rng: np.random.Generator) -> Times:
    """Hand on five readings at a time."""
    return np.asarray(shown[np.minimum(np.arange(len(shown)) // 5 * 5 + 4, len(shown) - 1)])


def at_random(shown: Times, rng: np.random.Generator) -> Times:
    """Hand on what is there at random moments, 0.6 s apart on average."""
    moments = shown[0] + np.cumsum(rng.exponential(0.6, round((shown[-1] - shown[0]) / 0.3) + 50))
    moments[-1] = max(moments[-1], shown[-1])
    return np.asarray(moments[np.searchsorted(moments, shown)])


LINKS: dict[str, Callable[[Times, np.random.Generator], Times]] = {
    "one at a time": lambda shown, _: shown,
    "4 a second": lambda shown, rng: every(shown, 0.25, rng),
    "1 a second": lambda shown, rng: every(shown, 1.0, rng),
    "5 at a time": by_five,
    "at random": at_random,
}


def over(link: str, log: Log, rng: np.random.Generator) -> Series:
    """The log's readings as a recorder times them over a link."""
    series = log.series
    cadence, timed = Cadence(0.0, False), list[Reading]()
    place = 0
    for arrival_s, together in groupby(LINKS[link](series.time_s, rng)):
        stop = place + len(list(together))
        values = series.value[place:stop]
        timed += cadence.timed([Reading(float(arrival_s), float(v), Quantity.DC_VOLTAGE) for v in values])
        place = stop
    times = np.array([reading.time_s for reading in timed])
    errors = np.array([reading.time_error_s for reading in timed], np.float32)
    return replace(series, time_s=times, time_error_s=errors)


def polled(log: Log, times: float) -> Series:
    """The log's readings as a display holds them, read so many times a look."""
    series = log.series
    if log.name == "link" or len(series) < 2:
        return series
    time_s = np.arange(series.time_s[0], series.time_s[-1], log.meter.interval_s / times)
    shown = series.time_s.searchsorted(time_s, "right") - 1
    return Series(time_s, series.value[shown], series.resolution[shown], series.flags[shown])


DECLARED = ", declared"
"""The meter's display interval is declared, as `interval_s=` in its address does."""
POLLED = {f"polled {times:g} x{told}": times for told in ("", DECLARED) for times in (2.0, 3.3, 10.0)}
"""Displays that are read so many times a look; without the logs of links that fail."""


def job(what: Job) -> tuple[Log, list[Event], float, float]:
    """Draw, deliver, time and analyze; the events, the share of times covered, the median stated error in intervals."""
    link, name, seed = what
    log = drawn((name, seed))
    if not len(log.series):
        return log, [], 1.0, 0.0
    if link in POLLED:
        channel = replace(log.channel, interval_s=log.meter.interval_s if link.endswith(DECLARED) else None)
        return log, detect(channel, polled(log, POLLED[link]), log.markers), np.nan, np.nan
    series = over(link, log, np.random.default_rng([seed, 7]))
    events = detect(log.channel, series, log.markers)
    off_s = np.abs(series.time_s - log.series.time_s) - 1e-6
    covered = float(np.mean(off_s <= series.time_error_s))
    return log, events, covered, float(np.median(series.time_error_s)) / log.meter.interval_s


def main(argv: list[str]) -> int:
    """Print the table and put it into the results."""
    numbers = [int(word) for word in argv if word.isdigit()]
    logs, first = (*numbers, *(1200, FRESH)[len(numbers) :])
    names = list(SCENARIOS)
    lines = [
        f"{logs} logs a link from seed {first}; the link adds no other delay. Errors in intervals, medians.",
        "",
        "| link | true events | recall | precision | duration off | stated | covered | times covered | stated |",
        "|---|---|---|---|---|---|---|---|---|",
    ]
    with ProcessPoolExecutor() as pool:
        for link in (*LINKS, *POLLED):
            jobs = [(link, names[k % len(names)], seed) for k, seed in zip(range(logs), count(first), strict=False)]
            score, shares, stated = Score(), [], []
            for what, (log, events, covered, error) in zip(jobs, pool.map(job, jobs, chunksize=16), strict=True):
                score.add(log, events, f"{what[2]} {link}")
                shares.append(covered)
                stated.append(error)
            total = score.total
            lines.append(
                f"| {link} | {total.found + total.missed} | {total.recall:.4f} | {total.precision:.4f} |"
                f" {np.median(total.duration):.3f} | {np.median(total.stated):.3f} | {np.mean(total.covered):.4f} |"
                f" {np.mean(shares):.4f} | {np.median(stated):.3f} |"
            )
            print(lines[-1])
            if "-v" in argv:
                print("\n".join(score.complaints))
    if first >= FRESH:
        write("arrival", lines)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
