"""Tells which channels are of no system that there are limits for: a 700 V battery, what was entered as 48 V.

What a car's limits would say of them is wrong either way: they are not judged, and the person is asked what they are.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

from meterlog.events.settings import SYSTEM_HIGHEST_V
from meterlog.limits.limits import Limits
from meterlog.limits.system import upper_v
from meterlog.reading import Quantity
from meterlog.series import Series
from meterlog.session.model import Channel

_VOLTAGES = (Quantity.DC_VOLTAGE, Quantity.AC_VOLTAGE)
_TIMES_STATED = 2.5
"""Times the voltage that was entered from which a level is another system's: above 24 V at 12 V (a guess)."""


def with_foreign(
    channels: Sequence[Channel], limits: Limits, series_of: Callable[[int], Series] | None = None
) -> list[Channel]:
    """Return the channels, each that no limits apply to with the reason.

    Args:
        channels: as recorded.
        limits: the session's.
        series_of: the readings of a channel, by its number; None while there are none to look at.
    """
    return [replace(one, foreign=why) if (why := _why(one, limits, series_of)) else one for one in channels]


def _why(channel: Channel, limits: Limits, series_of: Callable[[int], Series] | None) -> str:
    if limits.foreign:
        return limits.foreign
    if channel.quantity not in _VOLTAGES or series_of is None:
        return ""
    level = upper_v(series_of(channel.number))
    highest = SYSTEM_HIGHEST_V if limits.assumed else max(SYSTEM_HIGHEST_V, _TIMES_STATED * limits.system_v)
    return f"it stands at {level:,.0f} V, and no 6, 12 or 24 V system does" if level > highest else ""
