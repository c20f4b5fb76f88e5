"""Turns a stretch of a channel back into readings one by one, for what listens while it grows."""

from __future__ import annotations

from meterlog.reading import Flag, Quantity, Reading
from meterlog.series import Series


def readings_of(series: Series, quantity: Quantity) -> list[Reading]:
    """Return a channel's readings in time order."""
    columns = (series.time_s.tolist(), series.value.tolist(), series.resolution.tolist(), series.flags.tolist())
    return [
        Reading(time_s, value, quantity, resolution, Flag(flags))
        for time_s, value, resolution, flags in zip(*columns, strict=True)
    ]
