"""A supply that was on for long, went off, and did not come back in time."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from meterlog.events.event import Event
from meterlog.events.measure import Measure
from meterlog.events.prime_pulse import Stretch
from meterlog.events.settings import DetectionSettings
from meterlog.session.model import Marker
from meterlog.signal.edges import Edge

KEY_OFF = "key-off"
_KEY_OFF_BEFORE_S = 3.0
"""A `key-off` marker may be set so long before the supply goes, s: the key, the relay, a holding time. A guess."""


def switched_off(markers: Sequence[Marker], fall_s: float, known_s: float, settings: DetectionSettings) -> bool:
    """Tell whether a `key-off` marker, of those up to `known_s`, says that the fall at `fall_s` was switched, s."""
    latest_s = min(fall_s + settings.marker_lag_s, known_s)
    return any(m.name == KEY_OFF and fall_s - _KEY_OFF_BEFORE_S <= m.time_s <= latest_s for m in markers)


def supply_lost(
    measure: Measure, stretch: Stretch, fall: int, stop: int, end: Edge, reference: float, settings: DetectionSettings
) -> Event | None:
    """The loss at reading `fall` that ended an 'on' interval, when that was long; known at reading `stop` - 1."""
    begin_s = measure.when(end, fall)
    if begin_s - stretch.begin_s <= settings.prime_longest_s:
        return None
    last_s = measure.track.time(stop - 1)
    return Event(
        "supply_lost",
        measure.channel,
        begin_s,
        last_s,
        level=measure.after(fall, min(stop, fall + 8)),
        extreme=measure.lowest(fall, stop),
        reference=reference,
        detail=f"off after {begin_s - stretch.begin_s:.0f} s on, and not back in the {last_s - begin_s:.0f} s after",
    )


def came_back(event: Event, measure: Measure, fall: Edge, rise: Edge, index: int) -> Event:
    """The same loss, now that the supply is back at reading `index`."""
    timing = measure.timing(fall, rise, index)
    return replace(
        event,
        end_s=timing.end_s,
        duration_s=timing.duration_s,
        duration_error_s=timing.error_s,
        detail=f"off for {timing.duration_s:.0f} s, longer than a dropout",
    )
