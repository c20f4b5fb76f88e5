"""A search for the fault: the readings so far, what they cost, and what the person is told or concludes."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from tests.bench.diagnosis_world.cost import REPLACE_FUSE_MIN, WARM_MIN, minutes
from tests.bench.diagnosis_world.meter import Row, read
from tests.bench.diagnosis_world.vehicle import Vehicle, works

REACHED, GOOD_WARM = 0.85, 0.1
"""Share of times in which warming reaches what heat opens, and of the time that it is good then. Guesses."""


@dataclass(frozen=True)
class Outcome:
    """Says how one search went.

    Attributes:
        fault: the class of what was wrong.
        answer, right: what came out, and whether it is so.
        first_sure: whether the first answer said to be sure was right; None where none was.
        readings, minutes: until 'enough'.
        claims: (probability, so) of each answer after each reading; empty for a person, who states none.
        seconds: the longest wait for a suggestion.
        tale: the readings, one line.
    """

    fault: str
    answer: str
    right: bool
    first_sure: bool | None
    readings: int
    minutes: float
    claims: tuple[tuple[float, bool], ...] = ()
    seconds: float = 0.0
    tale: str = ""


@dataclass
class Bench:
    """A vehicle under a person's hands: hands out readings and keeps the minutes."""

    vehicle: Vehicle
    bad_share: float
    rng: np.random.Generator
    taken: list[Row] = field(default_factory=list)
    minutes: float = 0.0

    def take(self, quantity: str, at: str, to: str, state: str, load: str = "connected") -> float:
        """One reading's value, V, A or ohm; inf for open."""
        asked: Row = {"quantity": quantity, "at": at, "to": to, "state": state, "load": load}
        row = self.note(asked)
        return float("inf") if row["value"] == "open" else float(str(row["value"]))

    def note(self, asked: Row) -> Row:
        """One reading as a row of a `measured` file."""
        self.minutes += minutes(self.vehicle.drawn, asked, self.taken)
        row = read(self.vehicle, asked, self.bad_share, self.rng)
        self.taken.append(row)
        return row

    def replace_fuse(self) -> str:
        """Put a new fuse in: `runs`, `dead` or `blew`."""
        self.minutes += REPLACE_FUSE_MIN
        if self.vehicle.blows:
            return "blew"
        ohm = self.vehicle.ohm.copy()
        fuse = self.vehicle.drawn.last("fuse")
        ohm[fuse] = min(ohm[fuse], 0.01)
        self.vehicle = Vehicle(**{**vars(self.vehicle), "ohm": ohm})
        return "runs" if works(self.vehicle, self.rng) else "dead"

    def warm(self) -> str:
        """Warm all of it up: `yes` where it fails then, `no` where it works."""
        self.minutes += WARM_MIN
        if self.vehicle.heat and self.rng.random() < REACHED:
            self.vehicle = replace(self.vehicle, good_share=GOOD_WARM)
        return "no" if works(self.vehicle, self.rng) else "yes"

    @property
    def tale(self) -> str:
        """All readings on one line."""
        return "; ".join(
            f"{r['quantity'][0]} {r['at']}>{r['to']} {r['state']}/{r['load'][0]} {r['value']}"  # type: ignore[index]
            for r in self.taken
        )
