"""Everything that a framing can show, found by asking its encoder: for the simulator's meter, tests and benches."""

from __future__ import annotations

import math
from collections.abc import Iterator

from meterlog.driver.framing import Encoder
from meterlog.errors import EncodeError
from meterlog.reading import Flag, Quantity, Reading
from meterlog_drivers.display.decimals import counts_at, scaled
from meterlog_drivers.display.possible_counts import possible_counts
from meterlog_drivers.display.unit_words import COUPLING

_FLAGS = (
    Flag.NONE,
    Flag.AUTORANGE,
    Flag.HOLD,
    Flag.RELATIVE,
    Flag.MINIMUM,
    Flag.MAXIMUM,
    Flag.LOW_BATTERY,
    Flag.AUTORANGE | Flag.LOW_BATTERY,
)


def resolutions(encoder: Encoder, quantity: Quantity) -> list[float]:
    """The resolutions, finest first, with which an encoder shows a quantity; empty where it does not."""
    zero = Reading(0.0, 0.0, quantity, flags=COUPLING.get(quantity, Flag.NONE))
    possible = [scaled(1, exponent) for exponent in range(-15, 8)]
    return [resolution for resolution in possible if _shows(encoder, zero._replace(resolution=resolution))]


def nearest_shown(encoder: Encoder, reading: Reading) -> Reading | None:
    """The reading as the framing's display would show it: the next coarser resolution that has room, without the
    flags that have no symbol. None where it has no way to show that quantity, or an overload, at all."""
    keep = reading.flags & (Flag.OVERLOAD | Flag.RELATIVE | COUPLING.get(reading.quantity, Flag.NONE))
    for flags in (reading.flags, *(reading.flags & ~f for f in _FLAGS), keep | reading.flags & Flag.LOW_BATTERY, keep):
        same = reading._replace(flags=flags)
        if _shows(encoder, same):
            return same
    for resolution in resolutions(encoder, reading.quantity):
        if math.isnan(reading.resolution) or resolution >= reading.resolution * 0.999:
            value = reading.value
            if math.isfinite(value):
                exponent = round(math.log10(resolution))
                value = scaled(counts_at(value, exponent), exponent)
            coarser = reading._replace(value=value, resolution=resolution, flags=keep)
            if _shows(encoder, coarser):
                return coarser
    return None


def every_mode(encoder: Encoder, column: int = 0) -> Iterator[Reading]:
    """One reading for each quantity, resolution and flag that an encoder shows, and its overloads, at time 0.

    Each is as a decoder gives it back: flags hold the AC or DC that the quantity implies.
    """
    for quantity in Quantity:
        for resolution in resolutions(encoder, quantity):
            exponent = round(math.log10(resolution))
            for flag in _FLAGS:
                flags = flag | COUPLING.get(quantity, Flag.NONE)
                for value, more in (
                    (scaled(73, exponent), Flag.NONE),
                    (scaled(-1905, exponent), Flag.NONE),
                    (scaled(3999, exponent), Flag.NONE),
                    (math.inf, Flag.OVERLOAD),
                    (-math.inf, Flag.OVERLOAD),
                ):
                    reading = Reading(0.0, value, quantity, resolution, flags | more, column)
                    least, most = possible_counts(quantity, exponent, flags)
                    possible = math.isinf(value) or least <= counts_at(value, exponent) <= most
                    if possible and _shows(encoder, reading):
                        yield reading


def _shows(encoder: Encoder, reading: Reading) -> bool:
    try:
        return bool(encoder.encode([reading]))
    except EncodeError:
        return False
