"""The content of a frame: a `Reading` without its time."""

from __future__ import annotations

from typing import NamedTuple

from meterlog.reading import Flag, Quantity


class Shown(NamedTuple):
    """The content of a frame in one column; see `meterlog.reading.Reading`."""

    value: float
    quantity: Quantity
    resolution: float
    flags: Flag
    column: int = 0
