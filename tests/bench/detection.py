"""How well events are found, on seeded logs whose truth is known: `python -m tests.bench.detection [logs] [first seed]`."""

from __future__ import annotations

import sys
from concurrent.futures import ProcessPoolExecutor
from itertools import count

from meterlog.events.detect import detect
from meterlog.events.event import Event
from tests.bench.logs import SCENARIOS, Log, log_of
from tests.bench.score import HEADER, Score

FRESH = 500_000
"""Seeds from here on were never looked at while the detectors were developed (those use 0 .. 99,999)."""


def one(job: tuple[str, int]) -> tuple[Log, list[Event]]:
    """Draw and analyze one log."""
    log = log_of(job[0], SCENARIOS[job[0]], job[1])
    return log, detect(log.channel, log.series, log.markers)


def main(argv: list[str]) -> int:
    """Print the table."""
    logs = int(argv[0]) if argv else 2400
    first = int(argv[1]) if len(argv) > 1 else FRESH
    names = list(SCENARIOS)
    jobs = [(names[k % len(names)], seed) for k, seed in zip(range(logs), count(first), strict=False)]
    score, styles = Score(), {style: Score() for style in ("sample", "box", "full", "smooth")}
    with ProcessPoolExecutor() as pool:
        for job, (log, events) in zip(jobs, pool.map(one, jobs, chunksize=16), strict=True):
            score.add(log, events, str(job[1]))
            styles[log.meter.style].add(log, events)
    print(HEADER)
    for kind, tally in sorted(score.kinds.items()):
        print(tally.line(kind))
    print(score.total.line("all"))
    for style, by_style in styles.items():
        print(by_style.total.line(f"  meters: {style}"))
    print(f"healthy logs: {score.alarms} false alarms in {score.healthy_s / 3600:.1f} h")
    if "-v" in argv:
        print("\n".join(score.complaints))
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
