"""Adds judgements up by family, and prints the table."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from tests.bench.detection_world.judge import Judgement

LEAST_SHARE = 0.97
"""Goal for recall and precision of each family; 0.99 in total."""
LEAST_COVER = 0.95
"""Goal for the share of durations that their stated error covers."""
HEADER = (
    f"{'family':<42}{'logs':>5}{'true':>6} {'recall':>7} {'precis.':>7} {'cover':>6} {'stated':>7}"
    f"{'outside':>8}{'silent':>7}{'wrong':>6}"
)

LEGEND = """\
true: events that the readings show; cover: share of durations within what is stated; stated: that error, in readings
outside: healthy logs called 'outside'; silent: faulty logs without event or 'outside'; wrong: sentences not true"""


@dataclass(slots=True)
class Tally:
    """The judgements of one family, or of all."""

    logs: int = 0
    found: int = 0
    missed: int = 0
    false: int = 0
    covered: list[bool] = field(default_factory=list)
    error: list[float] = field(default_factory=list)
    outside: int = 0
    silent: int = 0
    wrong: int = 0

    def add(self, one: Judgement) -> None:
        """Count a log."""
        self.logs += 1
        self.found += one.found
        self.missed += one.missed
        self.false += one.false
        self.covered += one.covered
        self.error += one.error
        self.outside += one.outside
        self.silent += one.silent
        self.wrong += one.wrong

    @property
    def recall(self) -> float:
        """Share of the true events that were found; 1 where there are none."""
        true = self.found + self.missed
        return self.found / true if true else 1.0

    @property
    def precision(self) -> float:
        """Share of the events that are true; 1 where there are none."""
        said = self.found + self.false
        return self.found / said if said else 1.0

    @property
    def cover(self) -> float:
        """Share of stated durations whose error covers the truth; 1 where none is stated."""
        return float(np.mean(self.covered)) if self.covered else 1.0

    @property
    def short(self) -> list[str]:
        """The goals that are missed."""
        goals = {
            "recall": self.recall >= LEAST_SHARE,
            "precision": self.precision >= LEAST_SHARE,
            "cover": self.cover >= LEAST_COVER,
            "outside": not self.outside,
            "silent": not self.silent,
            "wrong": not self.wrong,
        }
        return [name for name, met in goals.items() if not met]

    def line(self, name: str) -> str:
        """One line of the table."""
        true = self.found + self.missed
        recall = f"{self.recall:7.3f}" if true else f"{'-':>7}"
        precision = f"{self.precision:7.3f}" if self.found + self.false else f"{'-':>7}"
        cover = f"{self.cover:6.3f} {np.median(self.error):7.2f}" if self.covered else f"{'-':>6} {'-':>7}"
        counts = f"{self.outside:8d}{self.silent:7d}{self.wrong:6d}"
        return f"{name:<42}{self.logs:5d}{true:6d} {recall} {precision} {cover}{counts}"
