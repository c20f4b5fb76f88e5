"""Measures how well events are found, on seeded logs whose truth is known.

`python -m tests.bench.detection [logs] [first seed] [-v]` prints, by kind: true events longer than one interval and the
averaging window; recall and precision; median error of the duration and of what is stated for it, in intervals; the
share of durations that the stated error covers; the share of levels within the meter's accuracy. Then the same by
family of logs whose generator shares nothing with the analyzer (`detection_world`, which can be run alone), and what is
said of them. The tables go to RESULTS.md.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from itertools import count

from meterlog.events.detect import detect
from meterlog.events.event import Event
from tests.bench import named
from tests.bench.detection_world.run import report as families
from tests.bench.logs import SCENARIOS, Log, log_of
from tests.bench.plain import by_change_points, by_rolling_median, by_threshold
from tests.bench.results import printed
from tests.bench.score import HEADER, Score

FRESH = 500_000
"""Seeds from here on were not looked at while the detectors were developed; those below 100,000 were."""

PLAIN_KINDS = ("prime_pulse", "dropout", "sag", "overvoltage", "supply_lost")
SUBSET = 48
"""Change points are sought in every 48th log of these kinds only: they take seconds each."""
SHORT = 1000
"""... and in logs of at most so many readings."""

Job = tuple[str, int]


def drawn(job: Job) -> Log:
    """The log of a job."""
    return log_of(job[0], SCENARIOS[job[0]], job[1])


def ours(job: Job) -> tuple[Log, list[Event]]:
    """Draw and analyze one log."""
    log = drawn(job)
    return log, detect(log.channel, log.series, log.markers)


def plain(job: Job) -> tuple[Log, list[list[Event]]]:
    """Draw one log and put it through the plain ways, on 12 V and without the events they cannot know."""
    log = drawn(job)
    ways: list[Callable[[Log], list[Event]]] = [by_threshold, by_rolling_median]
    if job[1] % SUBSET == 0 and len(log.series) <= SHORT:
        ways.append(by_change_points)
    return log, [way(log) for way in ways]


def main(argv: list[str]) -> int:
    """Print the tables."""
    numbers = [int(word) for word in argv if word.isdigit()]
    logs, first = (*numbers, *(2400, FRESH)[len(numbers) :])
    names = list(SCENARIOS)
    jobs = [(names[k % len(names)], seed) for k, seed in zip(range(logs), count(first), strict=False)]
    score, styles = Score(), {style: Score() for style in ("sample", "box", "full", "smooth")}
    with printed("Detection"), ProcessPoolExecutor() as pool:
        for job, (log, events) in zip(jobs, pool.map(ours, jobs, chunksize=16), strict=True):
            score.add(log, events, str(job[1]))
            styles[log.meter.style].add(log, events)
        print(f"{logs} logs from seed {first}\n{HEADER}")
        for kind, tally in sorted(score.kinds.items()):
            print(tally.line(kind))
        print(score.total.line("all"))
        for style, by_style in styles.items():
            print(by_style.total.line(f"  meters: {style}"))
        print(f"healthy logs: {score.alarms} false alarms in {score.healthy_s / 3600:.1f} h")
        _alternatives(pool, jobs)
        print("\nnamed cases of standards")
        named.report()
    with printed("Detection by family"):
        said = families(first)
    if "-v" in argv:
        print("\n".join([*score.complaints, *said]))
    return 0


def _alternatives(pool: ProcessPoolExecutor, jobs: list[Job]) -> None:
    """The same 12 V logs through the plain ways, and ours on each way's logs; the kinds that the plain ways know."""
    names = ("fixed threshold", "rolling median 101", f"change points, 1 in {SUBSET}")
    theirs, mine = [Score() for _ in names], [Score() for _ in names]
    for log, found in pool.map(plain, [job for job in jobs if "ohms" not in job[0]], chunksize=16):
        if log.system_v != 12.0 or any(event.kind not in PLAIN_KINDS for event in log.truth):
            continue
        for k, events in enumerate(found):
            theirs[k].add(log, events)
            mine[k].add(log, [e for e in detect(log.channel, log.series, log.markers) if e.kind in PLAIN_KINDS])
    print(f"\n{'the plain ways, on the same 12 V logs':<40}{'true':>6} {'recall':>7} {'precis.':>7} {'alarms/h':>9}")
    for name, they, we in zip(names, theirs, mine, strict=True):
        for who, score in ((name, they), ("   this analyzer", we)):
            total, hours = score.total, max(score.healthy_s / 3600, 1e-9)
            alarms = f"{score.alarms / hours:9.2f}" if score.healthy_s else f"{'-':>9}"
            print(f"{who:<40}{total.found + total.missed:6d} {total.recall:7.3f} {total.precision:7.3f} {alarms}")


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
