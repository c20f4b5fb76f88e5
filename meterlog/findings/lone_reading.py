"""Names single readings of a current or a drop that stand far from both their neighbours.

A supply's are events: an overvoltage, a dropout. Of a current one reading is no event and no level (see
`meterlog.events.settling`), and must not be passed over in silence all the same.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from meterlog.findings.evidence import Evidence
from meterlog.findings.finding import Alternative, Finding
from meterlog.findings.level import resolution_of
from meterlog.reading import Quantity
from meterlog.roles import Role
from meterlog.session.model import Channel
from meterlog.text.figures import count, displayed
from meterlog.text.times import HOUR_S, from_start

_TIMES = 2.0
"""So many times its neighbours, as for another load that is switched on: a guess."""
_LIKE = 0.1
"""The neighbours are within this share of one another: a guess."""
_LIKE_COUNTS = 5.0
"""Or within so many counts: a guess."""
_MOST = 5
"""More of them are what the circuit does, and no wrong readings: a guess."""
_LEAST_DROP_V = 0.5
"""Smaller drops are none of interest, V: a guess, above what is judged."""
_WRONG = Alternative(
    "A reading that was damaged on its way (a flipped digit) shows the same; levels and events leave it out.",
    "What decides: whether it comes again, on a meter that reads several times as often.",
)


def findings(evidence: Evidence) -> list[Finding]:
    """One finding for each current and drop with such readings."""
    least_a = evidence.limits.detection.on_at_least_a
    channels = [(channel, least_a) for channel in evidence.of(Quantity.DC_CURRENT)]
    channels += [(channel, _LEAST_DROP_V) for channel in evidence.playing(Role.DROP)]
    found = (_named(evidence, channel, least) for channel, least in channels)
    return [finding for finding in found if finding is not None]


def _named(evidence: Evidence, channel: Channel, least: float) -> Finding | None:
    series = evidence.series(channel)
    step = resolution_of(series)
    at = lone(series.value, least, 0.0 if np.isnan(step) else step)
    if not 0 < len(at) <= _MOST:
        return None
    hours = bool(series.time_s[-1] >= HOUR_S)
    each = [
        f"{displayed(float(series.value[i]), channel.quantity.unit, step)} at"
        f" {from_start(float(series.time_s[i]), hours=hours)}"
        for i in at.tolist()
    ]
    beside = displayed(float(series.value[at[0] - 1]), channel.quantity.unit, step)
    text = f"{channel.label}: {count(len(at), 'reading')} far from both neighbours: {', '.join(each)}, beside {beside}."
    source = f"own choice: {_TIMES:g} times as much, or the other sign, in one reading alone"
    found = Finding(text, "readings that their neighbours confirm", source, "cannot tell", channel=channel.number)
    return found.unless(_WRONG)


def lone(value: NDArray[np.float64], least: float, step: float) -> NDArray[np.intp]:
    """Find the readings that stand alone, of shape (n,); `least` is the smallest size that counts, `step` one count."""
    size = np.abs(value)
    with np.errstate(invalid="ignore"):  # one overload less another is no number
        moved = np.abs(np.diff(value)) >= size[:-1] / _TIMES
        at = np.flatnonzero(moved[:-1] & (size[1:-1] >= least)) + 1
        here, before, after = value[at], value[at - 1], value[at + 1]
        usual = np.maximum(size[at - 1], size[at + 1])
        alike = np.abs(before - after) <= np.maximum(_LIKE * usual, _LIKE_COUNTS * step)
    turned = (here * before < 0.0) & (size[at] >= usual / _TIMES)
    return at[alike & np.isfinite(here) & ((size[at] >= _TIMES * usual) | turned)]
