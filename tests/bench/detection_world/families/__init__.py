"""Says what happens in each family of logs: one function a family, one subject a file."""

from __future__ import annotations

from tests.bench.detection_world.families import (
    currents,
    healthy,
    links,
    meters,
    ohms,
    starts,
    supplies,
    systems,
    voltages,
)
from tests.bench.detection_world.families.family import FAMILIES, Family

__all__ = [
    "FAMILIES",
    "Family",
    "currents",
    "healthy",
    "links",
    "meters",
    "ohms",
    "starts",
    "supplies",
    "systems",
    "voltages",
]
