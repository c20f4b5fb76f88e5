"""Judges the analyzer on the simulated van: `python -m tests.bench.van [seeds a scenario] [first seed]`.

Every scenario with many seeds and three meters, judged by the truth of the solved circuit. A true event counts as
missed only where it lasts longer than the shortest that the readings can show; a found one is false where nothing
true of its channel is near it. Coverage is the share of found durations whose stated error holds the true one.
The table goes to RESULTS.md.
"""

from __future__ import annotations

import sys
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from itertools import product

import numpy as np

from meterlog.events.detect import examine
from meterlog.events.event import Event
from meterlog.session import Channel
from meterlog_drivers.simulated.scenarios import SCENARIOS
from tests.bench.results import printed

FRESH = 700_000
"""Seeds from here on were never looked at while anything was developed."""

INTERVALS_S = (0.1, 0.33, 0.5)
TIMED = ("prime_pulse", "dropout", "open_circuit", "sag", "chatter", "overvoltage")
DURATIONS = ("prime_pulse", "dropout", "open_circuit")

CHATTER_PART_S = 0.25
"""The shortest change of the chatter scenario: readings that cannot show it cannot count changes."""

Job = tuple[str, int, float]


@dataclass(slots=True)
class Result:
    """Counts by kind, and per found duration its error and what was stated, s."""

    true: Counter[str] = field(default_factory=Counter)
    missed: Counter[str] = field(default_factory=Counter)
    false: Counter[str] = field(default_factory=Counter)
    durations: list[tuple[str, float, float]] = field(default_factory=list)
    complaints: list[str] = field(default_factory=list)


def judge(job: Job) -> Result:
    """Run one scenario and judge what is found on each channel that has a truth."""
    name, seed, interval_s = job
    run, result = SCENARIOS[name].run(seed, interval_s=interval_s), Result()
    for k, (probe, series) in enumerate(zip(run.probes, run.readings, strict=True), 1):
        if not (probe.supply or run.quantity(k - 1).unit == "ohm"):
            continue
        channel = Channel(k, probe.label, run.quantity(k - 1), probe.point, interval_s=interval_s)
        found, watch = examine(channel, series, run.markers)
        true = [event for event in run.truth if event.channel == k]
        _missed(result, true, found, watch.shortest_visible_s, interval_s, str(job))
        _false(result, true, found, interval_s, str(job))
    return result


def _missed(result: Result, true: list[Event], found: list[Event], visible_s: float, slack_s: float, job: str) -> None:
    for event in true:
        same = _nearest(found, event, 2 * slack_s + 0.1)
        length_s = CHATTER_PART_S if event.kind == "chatter" else event.end_s - event.start_s
        if event.kind in TIMED and length_s <= visible_s:
            continue
        result.true[event.kind] += 1
        if not same:
            result.missed[event.kind] += 1
            result.complaints.append(f"missed {job} {event.kind} {event.start_s:.2f} to {event.end_s:.2f} s")
        elif event.kind in DURATIONS and same[0].duration_s is not None and same[0].duration_error_s is not None:
            error_s = abs(same[0].duration_s - (event.end_s - event.start_s))
            result.durations.append((event.kind, error_s, same[0].duration_error_s))
            if error_s > same[0].duration_error_s:
                result.complaints.append(
                    f"not covered {job} {event.kind} {error_s:.3f} > {same[0].duration_error_s:.3f}"
                )


def _false(result: Result, true: list[Event], found: list[Event], slack_s: float, job: str) -> None:
    for event in found:
        if not any(_near(event, one, 2 * slack_s + 0.1) for one in true):
            result.false[event.kind] += 1
            result.complaints.append(f"false {job} {event.kind} {event.start_s:.2f} to {event.end_s:.2f} s")


def _nearest(found: list[Event], true: Event, slack_s: float) -> list[Event]:
    """The found events of the same kind near a true one, the nearest first."""
    same = [one for one in found if one.kind == true.kind and _near(one, true, slack_s)]
    return sorted(same, key=lambda one: abs(one.start_s - true.start_s))


def _near(a: Event, b: Event, slack_s: float) -> bool:
    return a.start_s <= b.end_s + slack_s and a.end_s >= b.start_s - slack_s


def _table(results: list[Result]) -> None:
    true, missed, false = Counter[str](), Counter[str](), Counter[str]()
    for result in results:
        true += result.true
        missed += result.missed
        false += result.false
    print(f"{len(results)} runs\n{'kind':<18}{'true':>6}{'missed':>7}{'false':>6}{'covered':>9}{'stated, s':>11}")
    for kind in sorted(true | false):
        rows = np.array([(e, s) for r in results for k, e, s in r.durations if k == kind]).reshape(-1, 2)
        cover = f"{np.mean(rows[:, 0] <= rows[:, 1]):9.3f}{np.median(rows[:, 1]):11.3f}" if len(rows) else ""
        print(f"{kind:<18}{true[kind]:6d}{missed[kind]:7d}{false[kind]:6d}{cover}")


def main(argv: list[str]) -> int:
    """Print the table."""
    numbers = [int(word) for word in argv if word.isdecimal()]
    seeds, first = (*numbers, 20)[0], (*numbers[1:], FRESH)[0]
    jobs = list(product(SCENARIOS, range(first, first + seeds), INTERVALS_S))
    with ProcessPoolExecutor() as pool:
        results = list(pool.map(judge, jobs, chunksize=8))
    with printed("Simulated van"):
        _table(results)
    if "-v" in argv:
        print("\n".join(line for result in results for line in result.complaints))
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
