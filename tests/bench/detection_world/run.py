"""Runs every family and the planted falls through the program, and prints what is said against the truth."""

from __future__ import annotations

import re
import tempfile
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from functools import cache
from pathlib import Path
from typing import NamedTuple

from tests.bench.detection_world.blind import planted
from tests.bench.detection_world.families import FAMILIES
from tests.bench.detection_world.families.family import scene_of
from tests.bench.detection_world.families.healthy import QUIET_S
from tests.bench.detection_world.families.starts import STARTER
from tests.bench.detection_world.judge import Judgement, is_visible, judge, judge_statements, nothing_seen
from tests.bench.detection_world.product import Answer, Refused, ask
from tests.bench.detection_world.scene import Scene
from tests.bench.detection_world.table import HEADER, LEGEND, Tally

SEEDS = 27
"""Logs of each family: with fewer, one duration of sixteen that is not covered looks like a family's failure."""
HOUR_SEEDS = 9
"""Logs of hours."""
STARTS = (
    "start, away from the battery",
    "start that never charges",
    "aborted start, then a start",
    "restarts",
    "start at the battery post",
    "start, battery and feed recorded",
    "start, 24 V",
    "weak start at the battery post",
)
PLANTED = 400
"""Logs with a planted fall."""
PLANTED_NAME = "planted falls"
QUIET_NAME = "quiet hours"
PROCESSES = 2
WIDEST = 180
"""Characters of a complaint in the table."""


class Result(NamedTuple):
    """One log judged; `starts` are true ones, those that the readings show, those named."""

    judged: Judgement
    healthy: bool | None
    faulty: bool
    starts: tuple[int, int, int]
    claims: int


@cache
def _folder() -> tempfile.TemporaryDirectory[str]:
    return tempfile.TemporaryDirectory(prefix="detection")


def one(job: tuple[str, int]) -> Result:
    """Draw a log, put it through the program, judge it."""
    name, seed = job
    if name == PLANTED_NAME:
        scene = planted(seed)
        scene.read()
    else:
        scene = scene_of(name, seed)
    try:
        answer = ask(scene, Path(_folder().name))
    except Refused as refused:
        judged = Judgement(wrong=1, complaints=[f"refused: {refused}"])
        return Result(judged, scene.healthy, scene.faulty, (0, 0, 0), 0)
    starts = _starts(scene, answer) if name in STARTS else (0, 0, 0)
    judged = judge_statements(scene, answer) if name == PLANTED_NAME else judge(scene, answer)
    return Result(judged, scene.healthy, scene.faulty, starts, len(nothing_seen(answer)))


def _starts(scene: Scene, answer: Answer) -> tuple[int, int, int]:
    """Count starts: all, those of which a whole look lies in the dip, those that an event names."""
    wire = scene.wires[0]
    named = 0
    for truth in wire.trace.truth:
        near = (e for e in answer.events if e["start_s"] <= truth.end_s + 1.5 and e["end_s"] >= truth.start_s - 1.5)
        named += any(re.search(STARTER, event["detail"], re.IGNORECASE) for event in near)
    seen = sum(is_visible(wire, truth) for truth in wire.trace.truth)
    return len(wire.trace.truth), seen, named


def jobs_of(names: Sequence[str], first: int) -> list[tuple[str, int]]:
    """The logs of these families."""
    return [
        (name, first + k)
        for name in names
        for k in range(PLANTED if name == PLANTED_NAME else HOUR_SEEDS if name == QUIET_NAME else SEEDS)
    ]


def report(first: int = 0, names: Sequence[str] = ()) -> list[str]:
    """Print the tables.

    Args:
        first: the first seed.
        names: families, by the beginning of their names; all where empty.

    Returns:
        A line for each thing that was said wrongly.
    """
    every = [*FAMILIES, PLANTED_NAME]
    chosen = [name for name in every if not names or any(name.startswith(begin) for begin in names)]
    jobs = jobs_of(chosen, first)
    tallies, complaints = {name: Tally() for name in chosen}, []
    healthy = faulty = claims = 0
    starts = [0, 0, 0]
    with ProcessPoolExecutor(PROCESSES) as pool:
        for (name, seed), result in zip(jobs, pool.map(one, jobs, chunksize=3), strict=True):
            tallies[name].add(result.judged)
            complaints += [f"{name} / {seed}: {text}" for text in result.judged.complaints]
            healthy += bool(result.healthy)
            faulty += result.faulty
            starts = [a + b for a, b in zip(starts, result.starts, strict=True)]
            claims += result.claims if name == PLANTED_NAME else 0
    total = Tally()
    print(f"logs of seeds {first} to {first + SEEDS - 1}, {PLANTED} planted falls\n{LEGEND}\n\n{HEADER}")
    for name, tally in tallies.items():
        print(f"{tally.line(name)}  {' '.join(tally.short)}".rstrip())
        _sum(total, tally)
    print(total.line("all"))
    short = sum(bool(tally.short) for tally in tallies.values())
    print(f"\nfamilies: {len(chosen)}, of which {short} miss a goal")
    print(f"healthy logs called 'outside': {total.outside} of {healthy}")
    print(f"faulty logs without an event and without 'outside': {total.silent} of {faulty}")
    print(f"starts: {starts[0]}, of which {starts[1]} show in a whole reading; named cranking: {starts[2]}")
    if PLANTED_NAME in tallies:
        wrong = tallies[PLANTED_NAME].wrong
        print(f"planted falls: {PLANTED} logs, 'within: nothing seen' in {claims}, wrongly in {wrong}")
    if QUIET_NAME in tallies:
        alarms = tallies[QUIET_NAME].false
        print(f"quiet hours: {alarms} false alarms in {HOUR_SEEDS * QUIET_S / 3600:.1f} h")
    _examples([name for name, tally in tallies.items() if tally.short], complaints)
    return complaints


def _examples(names: Sequence[str], complaints: Sequence[str]) -> None:
    """Print one complaint of each of these families."""
    print("\none of what each family that misses a goal complains of" if names else "")
    for name in names:
        print(next(text for text in complaints if text.startswith(f"{name} /"))[:WIDEST])


def _sum(total: Tally, one: Tally) -> None:
    for name in one.__dataclass_fields__:
        setattr(total, name, getattr(total, name) + getattr(one, name))
