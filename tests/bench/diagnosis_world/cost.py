"""The minutes that a reading takes: the bench's own guesses, the same for every way of searching."""

from __future__ import annotations

from collections.abc import Sequence

from tests.bench.diagnosis_world.circuits import Drawn
from tests.bench.diagnosis_world.meter import Row

READ_MIN, REPLACE_FUSE_MIN, WARM_MIN = 1.0, 2.0, 15.0
EXTRA_MIN = {"crank": 1.5, "run": 1.0, "key_on": 0.5, "prime": 0.5, "unplugged": 1.5, "lamp": 2.0, "isolated": 2.0}
CURRENT_MIN = 2.0
"""Helper at the key, taking a plug apart, isolating the circuit, going in series or putting a clamp round."""


def minutes(drawn: Drawn, asked: Row, before: Sequence[Row]) -> float:
    """A reading's minutes; a place once reached stays open."""
    opened = {str(row[end]) for row in before for end in ("at", "to")}
    reach = {id_: value for id_, _, value in drawn.points} | {id_: value for id_, _, value in drawn.parts}
    reach[drawn.coil] = reach.get(drawn.relay, 0.0)
    places = [str(asked["at"])] if asked["quantity"] == "current" else [str(asked["at"]), str(asked["to"])]
    access = max((reach.get(place, 0.0) for place in places if place not in opened), default=0.0)
    extra = EXTRA_MIN.get(str(asked["state"]), 0.0) + EXTRA_MIN.get(str(asked["load"]), 0.0)
    return READ_MIN + access + extra + (CURRENT_MIN if asked["quantity"] == "current" else 0.0)
