"""Vans, what wears in them from which day on, and which fault they get: the truth that a dataset is judged by."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from typing import Literal

import numpy as np

KINDS = {"panel van 2.0 diesel": 2.0, "panel van 1.6 petrol": 1.5, "high roof 2.5 diesel": 3.0, "pick-up 2.2": 2.5}
"""Kinds of vans, and how long each primes its pump, s."""

BEGAN = datetime(2026, 1, 1, tzinfo=UTC)
DAYS = 365.0

Wear = Literal["charge", "crank", "ground"]
Fault = Literal["dropouts", "missing prime", "overvoltage"]

WEARS: dict[Wear, tuple[float, float]] = {"charge": (-1.0, -0.7), "crank": (-1.9, -1.2), "ground": (0.35, 0.8)}
"""By how much each has worn at the year's end, V, from the least to the most. Guesses of what a workshop would see."""
FAULTS: tuple[Fault, ...] = ("dropouts", "missing prime", "overvoltage")

_WORN_OF = 50, 20
"""So many of so many vans wear."""
_FAULTY_OF = 50, 15


@dataclass(frozen=True, slots=True)
class Van:
    """A van and its truth.

    Attributes:
        number: its place in the fleet; its name is `van 07`.
        kind: one of `KINDS`.
        relay_fitted: when its pump relay was fitted.
        charge_v: what its regulator holds at 20 °C, V.
        crank_v: its battery's lowest while cranking at 20 °C, V.
        ground_v: the drop across its pump's ground, V.
        wear: what gets slowly worse; None where nothing does.
        wear_by: how much worse it is at the year's end, V.
        begins: the day of the year from which it wears or has its fault.
        fault: what happens now and then; None where nothing does.
    """

    number: int
    kind: str
    relay_fitted: date
    charge_v: float
    crank_v: float
    ground_v: float
    wear: Wear | None = None
    wear_by: float = 0.0
    begins: float = DAYS
    fault: Fault | None = None
    name: str = field(init=False, default="")

    def __post_init__(self) -> None:
        object.__setattr__(self, "name", f"van {self.number:02}")

    def worn(self, wear: Wear, day: float) -> float:
        """Return how much worse it is on a day, V: nothing until it begins, then evenly."""
        if wear != self.wear or day <= self.begins:
            return 0.0
        return self.wear_by * (day - self.begins) / (DAYS - self.begins)


def fleet(seed: int, vans: int = 50) -> list[Van]:
    """Make up a fleet: two fifths of it wear, three tenths have a fault, the others are sound."""
    random = np.random.default_rng(seed)
    worn, faulty = (round(vans * some / of) for of, some in (_WORN_OF, _FAULTY_OF))
    return [_van(number, place, worn, faulty, random) for number, place in enumerate(random.permutation(vans))]


def _van(number: int, place: int, worn: int, faulty: int, random: np.random.Generator) -> Van:
    kinds, wears = list(KINDS), list(WEARS)
    wear = wears[place % len(wears)] if place < worn else None
    fault = FAULTS[place % len(FAULTS)] if worn <= place < worn + faulty else None
    return Van(
        number=number,
        kind=kinds[number % len(kinds)],
        relay_fitted=BEGAN.date() - timedelta(days=int(random.integers(30, 3000))),
        charge_v=float(random.normal(14.1, 0.08)),
        crank_v=float(random.normal(10.2, 0.15)),
        ground_v=float(random.uniform(0.03, 0.09)),
        wear=wear,
        wear_by=float(random.uniform(*WEARS[wear])) if wear else 0.0,
        begins=float(random.uniform(60, 240)) if wear or fault else DAYS,
        fault=fault,
    )
