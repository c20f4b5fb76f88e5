"""Holds what was tried on a circuit and is no reading: a direct feed, a part bridged, replaced or compared."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from meterlog.circuit.readings.measurement import unplugged_words
from meterlog.circuit.readings.observed import Observed

Result = Literal["runs", "dead", "blew", "alike", "differs"]
"""Says what can come of a trial; the last two: of a part that was held against a known-good one."""
RUNS = ("runs", "fixed", "works", "cured")
DEAD = ("dead", "no change", "unchanged", "same")
RESULTS = (*RUNS, *DEAD, "blew")
"""Words for the result of a trial; `blew`: a fuse did, the new one or that of the lead."""
COMPARED = ("alike", "differs", "same")
"""Words for the result of a comparison with a known-good part."""
HOW = ("feed", "bridged", "replaced", "compared")
"""Keys of a trial, one of which says what was done."""


@dataclass(frozen=True, slots=True)
class Tried:
    """A direct feed (`feed`, `into`), a `bridged`, a `replaced` or a `compared` part, and what came of it.

    Attributes:
        result: the load `runs`, it stays `dead`, or a fuse `blew`; a part that was taken out and measured beside a
            known-good one is `alike` or `differs`.
        unplugged: the loads that are unplugged meanwhile, commas between; empty for none.
    """

    result: Result
    feed: str = ""
    into: str = ""
    replaced: str = ""
    bridged: str = ""
    compared: str = ""
    unplugged: str = ""

    def __str__(self) -> str:
        if self.compared:
            found = "it differs" if self.result == "differs" else "both alike"
            return f"{self.compared} measured beside a known-good one, {found}"
        end = {"runs": "and it ran", "dead": "and it stayed dead", "blew": "and the fuse blew"}[self.result]
        if self.replaced:
            return f"{self.replaced} replaced{unplugged_words(self.unplugged)}, {end}"
        how = f"{self.bridged} bridged" if self.bridged else f"fed {self.into} from {self.feed}"
        return f"{how}{unplugged_words(self.unplugged)}, {end}"

    def as_row(self) -> dict[str, object]:
        """Give the row of `tried` that says it."""
        how = {key: value for key in (*HOW, "into", "unplugged") if (value := getattr(self, key))}
        return {**how, "result": self.result}


Told = Tried | Observed
"""Evidence that is no reading: what was tried, and what was observed without an instrument."""
