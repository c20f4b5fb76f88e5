"""A `key-on` marker after which no pulse began."""

from __future__ import annotations

from collections.abc import Sequence

from meterlog.events.event import Event
from meterlog.events.prime_pulse import Stretch
from meterlog.events.settings import DetectionSettings
from meterlog.session.model import Marker

KEY_ON = "key-on"


def missing_prime(
    channel: int, marker: Marker, stretches: Sequence[Stretch], gaps: Sequence[float], settings: DetectionSettings
) -> Event | None:
    """Judge one marker, once the readings reach past its time and more.

    A pulse that began up to `marker_lag_s` before the marker counts: a person presses the key late. Nothing is said
    of a supply that was on already, or when readings are missing in the time that matters.

    Args:
        channel: the channel's number.
        marker: named `key-on`.
        stretches: the channel's 'on' intervals around it.
        gaps: times of the readings that end a gap, and the start of the readings, s.
        settings: the times.
    """
    begin, end = marker.time_s, marker.time_s + settings.missing_prime_within_s
    for stretch in stretches:
        lasted = stretch.end_s - stretch.begin_s >= settings.prime_shortest_s
        if begin - settings.marker_lag_s <= stretch.begin_s <= end and lasted:
            return None
        if stretch.begin_s < begin <= stretch.end_s:
            return None
    if any(begin < gap <= end + settings.prime_shortest_s for gap in gaps):
        return None
    within = settings.missing_prime_within_s
    return Event(
        "missing_prime",
        channel,
        begin,
        begin,
        detail=f"key on, and no pulse began within {within:g} s; many cars never prime: repeat while cranking",
    )
