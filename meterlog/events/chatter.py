"""Many on/off changes in quick succession: a contact that bounces. The dropouts inside are part of it."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from meterlog.events.dropout import Outage, dropout
from meterlog.events.event import Event
from meterlog.events.measure import Measure
from meterlog.events.prime_pulse import Stretch
from meterlog.events.settings import DetectionSettings


def interruptions(
    measure: Measure, outages: Sequence[Outage], stretch: Stretch | None, ends: bool, settings: DetectionSettings
) -> list[Event]:
    """The events that a run of interruptions, each less than the spacing after the one before, amounts to.

    The beginning and the end of the 'on' interval itself count as changes of the chatter only where the time next to
    them is as short as those inside: a single dropout in a two-second prime is not chatter.
    """
    if 2 * len(outages) < settings.chatter_changes:
        return [dropout(measure, found) for found in outages]
    start, end = outages[0].timing.start_s, outages[-1].timing.end_s
    on_times = [b.timing.start_s - a.timing.end_s for a, b in pairwise(outages)]
    longest = 1.5 * max([*on_times, *(found.timing.duration_s for found in outages)])
    changes = 2 * len(outages)
    reaches_begin = reaches_end = False
    if stretch is not None and stretch.edge is not None:
        reaches_begin = start - stretch.begin_s < min(longest, settings.chatter_spacing_s)
    if stretch is not None and ends:
        reaches_end = stretch.end_s - end < min(longest, settings.chatter_spacing_s)
    if stretch is not None:
        start = stretch.begin_s if reaches_begin else start
        end = stretch.end_s if reaches_end else end
        stretch.broken = reaches_begin and reaches_end
    changes += reaches_begin + reaches_end
    error = max(found.timing.error_s for found in outages)
    return [
        Event(
            "chatter",
            measure.channel,
            start,
            end,
            end - start,
            error,
            level=min(found.level for found in outages),
            extreme=min(found.extreme for found in outages),
            reference=outages[0].reference,
            detail=f"{changes} on/off changes in {end - start:.1f} s, each less than "
            f"{settings.chatter_spacing_s:g} s apart",
        )
    ]
