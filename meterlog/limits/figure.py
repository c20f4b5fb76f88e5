"""One figure that something is judged by, with its grade and its source."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True, slots=True)
class Figure:
    """A limit: one number, or a curve of numbers.

    Attributes:
        name: its key in the limits file; ends with its unit where it has one.
        value: the number; None where `points` is given.
        points: the curve as (x, y) pairs with x rising; empty where `value` is given.
        unit: of `value` or of y.
        meaning: what it limits, in words.
        grade: how well it is founded: A to D, M for a default that is unverified, `own` for a person's own file.
        source: where it comes from, in words.
    """

    name: str
    value: float | None
    points: tuple[tuple[float, float], ...]
    unit: str
    meaning: str
    grade: str
    source: str

    def number(self) -> float:
        """The number.

        Raises:
            TypeError: it is a curve.
        """
        if self.value is None:
            raise TypeError(f"{self.name} is a curve")
        return self.value

    def at(self, x: float) -> float:
        """The curve at x, straight between its points and flat beyond its ends; the number if it is no curve."""
        if self.value is not None:
            return self.value
        return float(np.interp(x, [p[0] for p in self.points], [p[1] for p in self.points]))

    def where(self, y: float) -> float:
        """The x at which a rising curve reaches y, straight between its points and flat beyond its ends."""
        return float(np.interp(y, [p[1] for p in self.points], [p[0] for p in self.points]))

    def span(self) -> tuple[float, float]:
        """The number as the lowest and highest it may be, which is how limits are judged by."""
        return self.number(), self.number()

    def cite(self) -> str:
        """Its source with its grade, as findings carry it."""
        return f"{self.source} (grade {self.grade})"
