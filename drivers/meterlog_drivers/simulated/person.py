"""A person at the simulated van who does what a job asks next, and nothing else."""

from __future__ import annotations

import math
from collections.abc import Mapping

from meterlog_drivers.simulated.measured import MeasuredVan

REFUSED = ""
"""Says what cannot be done: an engine that does not start is not measured running."""


class Person:
    """Clips on, turns the key, looks, tries, puts right.

    Attributes:
        van: as it is now; what was put right is sound.
        acts: how often something was done.
    """

    def __init__(self, van: MeasuredVan) -> None:
        self.van = van
        self.acts = 0

    def do(self, asked: Mapping[str, object]) -> str:
        """Do what `next` of a job's status asks.

        Args:
            asked: the object that `job status --json` has under `next`.

        Returns:
            What a person types: a reading as the meter shows it, how bright the lamp is, the answer to a look, what
            came of a trial, the part that was put right; `REFUSED` where it cannot be done.
        """
        self.acts += 1
        tried, look = asked.get("tried"), asked.get("look")
        if asked["kind"] == "repair":
            self.van = self.van.repaired(str(asked["part"]))
            return str(asked["part"])
        if isinstance(look, Mapping):
            return self.van.look(str(look["key"]))
        return self.van.came_of(tried) if isinstance(tried, Mapping) else self._read(asked)

    def _read(self, asked: Mapping[str, object]) -> str:
        place = self.van.place(asked)
        if place.state == "run" and not self.van.pump_runs("crank"):
            return REFUSED
        if place.quantity == "lamp":
            return self.van.lamp(place, self.acts)
        shown = self.van.shown(place, self.acts)
        return "open" if math.isinf(shown) else f"{shown:.6g}"
