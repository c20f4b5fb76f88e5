"""Chooses the heights of the y axes: fixed for a session, so that a level looks the same wherever one looks.

A supply and a control signal go from 0 to their system's top; everything else from 0 to its highest. Channels of one
quantity and role share one scale. A display that wavers by a count is a flat line, not a lively one.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple
from weakref import WeakKeyDictionary

import numpy as np
from numpy.typing import NDArray

from meterlog.findings.level import resolution_of
from meterlog.loaded import Loaded
from meterlog.reading import Quantity
from meterlog.roles import Role
from meterlog.series import Series
from meterlog.session.model import Channel

Span = tuple[float, float]

TOP_OF_SYSTEM = 4 / 3
"""The top of a supply's scale, as a share of the system's nominal voltage: 16 V at 12 V, a volt above what is too high.
By choice."""
_LEAST_V = {Role.DROP: 0.5, Role.OTHER: 1.0}
"""The least top of a voltage's scale, V: a drop is judged in tenths of a volt. By eye."""
_LEAST_COUNTS = 100.0
"""No scale is smaller than so many counts of the display: one count of noise then is a hundredth. By eye."""
_FITTED_COUNTS, _FITTED_SHARE = 20.0, 0.02
"""A scale fitted to what is shown is no smaller than so many counts, nor than this share of the value. By eye."""
_NEAR = 0.4
"""A limit this far beyond what is shown, in heights of it, is taken into a fitted scale. By eye."""
_ROOM_BELOW, _ROOM_ABOVE = 0.1, 0.06
"""Left free below and above, in heights: below for the numbers of the events. By eye."""
_FREE = (Quantity.TEMPERATURE,)
"""Quantities whose zero says nothing."""


class Seen(NamedTuple):
    """A channel, its lowest and highest reading so far (None where there is none), and one count, in its unit."""

    channel: Channel
    span: Span | None
    one_count: float


def extent(value: NDArray[np.float64]) -> Span | None:
    """Return the lowest and the highest finite value, of shape (n,); None where there is none."""
    if not len(value):
        return None
    low, high = float(np.min(value)), float(np.max(value))
    if not (math.isfinite(low) and math.isfinite(high)):  # dearer, for the few channels with breaks or overload
        finite = value[np.isfinite(value)]
        if not len(finite):
            return None
        low, high = float(finite.min()), float(finite.max())
    return low, high


_KNOWN: WeakKeyDictionary[Loaded, dict[int, Span]] = WeakKeyDictionary()
"""The scales of sessions in memory: to find them, every reading is looked at."""


def fixed_scales(session: Loaded) -> dict[int, Span]:
    """Return the scale of each channel, by its number, in its unit."""
    if session not in _KNOWN:
        _KNOWN[session] = _found(session)
    return _KNOWN[session]


def _found(session: Loaded) -> dict[int, Span]:
    every = ((channel, session.series(channel.number)) for channel in session.channels)
    seen = [Seen(channel, extent(series.value), count_of(series)) for channel, series in every]
    return common_scales(seen, session.system_v or (24.0 if session.shows_24_v() else 12.0))


def common_scales(seen: Sequence[Seen], system_v: float) -> dict[int, Span]:
    """Return the scale of each channel, by its number, in its unit: one for all of a quantity and role."""
    together: dict[tuple[Quantity, Role], list[Seen]] = {}
    for one in seen:
        together.setdefault((one.channel.quantity, one.channel.measurand.role), []).append(one)
    found = dict[int, Span]()
    for (quantity, role), group in together.items():
        spans = [one.span for one in group if one.span is not None]
        scale = fixed_scale(quantity, role, spans, max(one.one_count for one in group), system_v)
        found |= dict.fromkeys((one.channel.number for one in group), scale)
    return found


def fixed_scale(quantity: Quantity, role: Role, seen: Sequence[Span], count: float, system_v: float) -> Span:
    """Return the scale of channels of one quantity and role.

    Args:
        quantity: what they measure.
        role: what that stands for.
        seen: each one's lowest and highest in the whole session, in the unit.
        count: one count of the display, in the unit; 0 where unknown.
        system_v: nominal voltage of the vehicle's system, V.
    """
    low, high = min((span[0] for span in seen), default=0.0), max((span[1] for span in seen), default=0.0)
    if quantity in _FREE:
        return fitted_scale((low, high) if seen else None, count)
    least = _LEAST_COUNTS * count
    if quantity is Quantity.DC_VOLTAGE:
        full = role in (Role.SUPPLY, Role.CONTROL)
        least = max(
            least, TOP_OF_SYSTEM * system_v if full else _LEAST_V[Role.DROP if role is Role.DROP else Role.OTHER]
        )
    if quantity is Quantity.DUTY_CYCLE:
        least = 100.0
    high = max(high, 0.0) if low < -least else max(high, least)
    low = min(low, 0.0) if low < -_FITTED_SHARE * (high or least) else 0.0
    return _with_room(low, high if high > low else low + 1.0)


def fitted_scale(seen: Span | None, count: float, limits: Sequence[float] = ()) -> Span:
    """Return the scale that shows a stretch of readings large, with the limits that are near.

    Args:
        seen: lowest and highest of the readings; None where there is none.
        count: one count of the display, in the unit; 0 where unknown.
        limits: levels, in the unit.
    """
    if seen is None:
        return 0.0, 1.0
    low, high = seen
    least = max(_FITTED_SHARE * max(abs(low), abs(high)), _FITTED_COUNTS * count, 1e-12)
    if high - low < least:
        middle = (low + high) / 2
        low, high = middle - least / 2, middle + least / 2
    size = high - low
    near = [level for level in limits if low - _NEAR * size <= level <= high + _NEAR * size]
    return _with_room(min([low, *near]), max([high, *near]))


def _with_room(low: float, high: float) -> Span:
    return low - _ROOM_BELOW * (high - low), high + _ROOM_ABOVE * (high - low)


def count_of(series: Series) -> float:
    """Return one count of a channel's display, in its unit; 0 where unknown."""
    count = resolution_of(series)
    return 0.0 if math.isnan(count) else count
