"""Tells a voltage that is moved up and down by design from one that sags: it keeps no level of its own.

A pump or a fan that is driven by pulses (PWM) shows a DC meter the average, and its control unit asks for another every
few seconds. A supply that sags stands at its level for most of the time, and returns to it.
"""

from __future__ import annotations

import numpy as np

from meterlog.findings.evidence import Evidence
from meterlog.findings.finding import Alternative
from meterlog.findings.level import thin
from meterlog.session.model import Channel

_DECIDES = (
    "What decides: the meter's duty cycle or frequency setting at this point. Without pulses there it is a fault; with "
    "them, compare the battery and the control unit's own supply at the same instants, the load running."
)
BY_DESIGN = Alternative(
    "It keeps no level of its own but goes up and down all the time, as what is driven by pulses (PWM) or regulated "
    "does by design.",
    _DECIDES,
)
READS_LOWER = Alternative(
    "That is beyond the limit, but a pump or a fan that is driven by pulses (PWM), or at two speeds, legitimately "
    "reads lower on a DC meter.",
    _DECIDES,
)
_DRIVEN = ("pump", "fan", "blower")
"""Loads that are often driven by pulses since about 2000 (trade press, grade B; fans: unverified)."""
_SENSORS_V = (4.5, 5.5)
"""Says what a control unit feeds its sensors with, V: 5 V, a tenth to either side (unverified)."""
_LOWER = ("sensor", "reference", "dimm", "daytime", "instrument", "resistor")
"""Words of feeds that stand lower by design (unverified)."""
_FEEDS_LOWER = Alternative(
    "Some feeds stand lower by design: 5 V of sensors, dimmed lamps, what has a resistor in series.",
    "What decides: the vehicle's wiring diagram, and the battery at the same instants: what is lost between the two is "
    "lost on the way.",
)
_NEAR = 0.03
"""Readings within this share of a level are at it: a guess, above noise and small loads."""
_MOSTLY = 0.6
"""A level holds where this share of the readings is at it: a choice."""
_LEAST_TURNS = 5
"""Fewer times from above the middle to below it, and back, are no going up and down: a guess. One wrong reading makes
two of them."""
_FEW = 20
"""Fewer readings tell no such thing: a guess."""


def _may_be_driven(channel: Channel) -> bool:
    """Tell whether a channel is at a load that is often driven by pulses, by its words."""
    return channel.measurand.names(*_DRIVEN)


def lower_by_design(channel: Channel, level: float) -> Alternative | None:
    """Return why a feed at `level`, V, may stand below its battery by design; None where nothing says so."""
    if _may_be_driven(channel):
        return READS_LOWER
    low, high = _SENSORS_V
    return _FEEDS_LOWER if low <= abs(level) <= high or channel.measurand.names(*_LOWER) else None


def is_regulated(evidence: Evidence, channel: Channel) -> bool:
    """Tell whether a voltage goes up and down all the time while it is on."""
    value = thin(evidence.series(channel)).value
    on = value[np.isfinite(value) & (value >= evidence.limits.system_v / 4)]
    if len(on) < _FEW:
        return False
    ordered = np.sort(on)
    at_level = np.searchsorted(ordered, ordered * (1.0 + 2.0 * _NEAR), "right") - np.arange(len(ordered))
    if float(at_level.max()) > _MOSTLY * len(on):
        return False
    middle = float(ordered[len(ordered) // 2])
    side = np.where(on > (1.0 + _NEAR) * middle, 1, np.where(on < (1.0 - _NEAR) * middle, -1, 0))
    side = side[side != 0]
    return int(np.count_nonzero(np.diff(side))) >= _LEAST_TURNS
