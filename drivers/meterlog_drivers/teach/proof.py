"""Proves a profile before anyone uses it: from the same bytes, each moment must come out as it was typed."""

from __future__ import annotations

import tempfile
from collections.abc import Collection, Sequence
from pathlib import Path
from typing import NamedTuple

from meterlog.address import Address
from meterlog.driver.framing import FramingDriver
from meterlog.errors import ProfileError
from meterlog.reading import Reading
from meterlog.transports import Chunk
from meterlog_drivers.display.shown import Shown
from meterlog_drivers.teach.moments import Moment

LATEST_S = 5.0
"""Says how long before it was typed a display may have been read, s; as much as three displays of a slow meter."""


class Wanted(NamedTuple):
    """A number that must come out: the moment's, in the order of typing, and which of its displays showed it."""

    n: int
    moment: Moment
    column: int = 0


class Proof(NamedTuple):
    """Holds what a profile made of the bytes from which it was learned.

    Attributes:
        problem: what did not come out; empty where all did.
        frames: whole frames or lines that it met.
        read: those of them that it reads.
    """

    problem: str
    frames: int = 0
    read: int = 0


def prove(
    profile: str, wanted: Collection[Wanted], chunks: Sequence[Chunk], byte_time_s: float, driver: FramingDriver
) -> Proof:
    """Decode the bytes with a profile and look for what was typed."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "taught.toml"
        path.write_text(profile, encoding="utf-8")
        try:
            decoder = driver.decoder(Address(driver.name, "x", {"profile": str(path)}), byte_time_s)
        except ProfileError as error:
            reason = str(error).replace(str(path), "the profile")
            return Proof(f"what was learned cannot be written as a profile: {reason}")
        readings = [reading for chunk in chunks for reading in decoder.feed(chunk.data, chunk.arrival_s)]
    wrong = [one for one in wanted if not _came(readings, one)]
    said = ", ".join(f"{one.n + 1} ({one.moment.label.text})" for one in wrong)
    problem = f"what was learned does not give back reading {said}: show others" if wrong else ""
    traffic = decoder.traffic
    return Proof(problem, traffic.frames_good + traffic.frames_refused, traffic.frames_good)


def _came(readings: Sequence[Reading], wanted: Wanted) -> bool:
    """Tell whether a reading near a moment is what was typed."""
    near = (r for r in readings if r.column == wanted.column and -1.0 < wanted.moment.time_s - r.time_s < LATEST_S)
    label = wanted.moment.label
    return any(label.shows(Shown(r.value, r.quantity, r.resolution, r.flags, r.column)) for r in near)
