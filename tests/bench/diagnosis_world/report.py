"""The tables of the bench: shares right, calibration, minutes, classes."""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence

from tests.bench.diagnosis_world.faults import FAULTS
from tests.bench.diagnosis_world.search import Outcome

BANDS = ((0.05, 0.25), (0.25, 0.5), (0.5, 0.75), (0.75, 0.85), (0.85, 0.95), (0.95, 1.01))
SOUND_WITHIN = 12
"""Readings within which a sound vehicle is to end as 'this circuit does its work'."""
Row = dict[str, Outcome]


def share(found: Sequence[bool]) -> str:
    """A share in per cent, `-` for none."""
    return f"{100 * sum(found) / len(found):.0f} %" if found else "-"


def lines(rows: Sequence[Row]) -> list[str]:
    """Everything about one world."""
    if not rows:
        return ["no vehicle"]
    faults = [r for r in rows if not r["tool"].fault.startswith("sound")]
    sound = [r["tool"] for r in rows if r["tool"].fault.startswith("sound")]
    tool = [r["tool"] for r in faults]
    sure = [o.first_sure for o in tool if o.first_sure is not None]
    within = [o.right and o.readings <= SOUND_WITHIN for o in sound]
    return [
        f"{len(faults)} faults, {len(sound)} sound vehicles",
        f"right at first sure {share(sure)} ({len(sure)} were ever sure)",
        f"right at the end {share([o.right for o in tool])}",
        *(f"  {name}: right {share([r[name].right for r in faults])}" for name in rows[0] if name != "tool"),
        (
            f"sound: ends as 'does its work' {share([o.right for o in sound])},"
            f" within {SOUND_WITHIN} readings {share(within)}"
        ),
        *minutes(faults),
        "",
        *calibration(rows),
        "",
        *classes(rows),
    ]


def minutes(faults: Sequence[Row]) -> list[str]:
    """Median minutes to 'enough' where all ways are right."""
    names = list(faults[0]) if faults else []
    both = [r for r in faults if all(o.right for o in r.values())]
    if not both:
        return []
    median = {name: statistics.median(r[name].minutes for r in both) for name in names}
    others = "".join(
        f", {name} {value:.0f} ({1 - median['tool'] / value:+.0%})" for name, value in median.items() if name != "tool"
    )
    readings = statistics.median(o.readings for r in both for name, o in r.items() if name == "tool")
    return [
        (
            f"median minutes where all are right ({len(both)}): tool {median['tool']:.0f}{others};"
            f" its readings {readings:.0f}"
        )
    ]


def calibration(rows: Sequence[Row]) -> list[str]:
    """Return what is so of what is called, by band, over all answers after all readings."""
    claims = [c for r in rows for c in r["tool"].claims]
    found = ["called      so      claims  mean called"]
    for low, high in BANDS:
        inside = [(p, so) for p, so in claims if low <= p < high]
        if inside:
            so, called = (statistics.fmean(float(x[k]) for x in inside) for k in (1, 0))
            found.append(f"{low:4.0%}-{min(high, 1.0):4.0%}  {so:6.1%}  {len(inside):6d}  {called:.1%}")
    return found


def classes(rows: Sequence[Row]) -> list[str]:
    """A row a class: how many, right at the end by each way, sure and wrong, minutes, and the usual wrong answer."""
    by_class: dict[str, list[Row]] = {}
    for r in rows:
        by_class.setdefault(r["tool"].fault, []).append(r)
    notes = {fault.name: fault.note for fault in FAULTS.values() if fault.note}
    names = list(rows[0])
    found = [f"{'class':58}{'n':>5}" + "".join(f"{name:>10}" for name in names) + "  sure+wrong  min  says instead"]
    for name in sorted(by_class, key=lambda n: _share_right(by_class[n])):
        some = by_class[name]
        tool = [r["tool"] for r in some]
        wrong: dict[str, int] = {}
        for o in tool:
            if not o.right:
                wrong[o.answer] = wrong.get(o.answer, 0) + 1
        instead = ", ".join(f"{k} {v}" for k, v in sorted(wrong.items(), key=lambda x: -x[1])[:3])
        sure_wrong = sum(o.first_sure is False for o in tool)
        cells = "".join(f"{share([r[way].right for r in some]):>10}" for way in names)
        took = statistics.median(o.minutes for o in tool)
        note = f" [{notes[name]}]" if name in notes else ""
        found.append(f"{name:58}{len(some):5d}{cells}{sure_wrong:12d}{took:5.0f}  {instead}{note}")
    return found


def _share_right(rows: Sequence[Row]) -> float:
    return sum(r["tool"].right for r in rows) / len(rows) if rows else math.nan
