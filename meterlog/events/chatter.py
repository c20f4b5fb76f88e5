"""Many on/off changes in quick succession: a contact that bounces. The dropouts inside are part of it."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from meterlog.events.event import Event
from meterlog.events.prime_pulse import Stretch
from meterlog.events.settings import DetectionSettings

_MOST_WAITING = 4096
"""Interruptions that wait to become chatter: bounds memory."""
_ALIKE = 1.5
"""A time next to the chatter that is at most so many times its longest counts as one of its own: a guess."""


def interruptions(
    channel: int, found: Sequence[Event], stretch: Stretch | None, ends: bool, settings: DetectionSettings
) -> list[Event]:
    """The events that a run of short interruptions, each less than the spacing after the one before, amounts to.

    An interruption may be a dropout, or a sag of a reading or two: one that an averaging meter caught half. The
    beginning and the end of the 'on' interval itself count as changes of the chatter only where the time next to
    them is as short as those inside: a single dropout in a two-second prime is not chatter.
    """
    if 2 * len(found) < settings.chatter_changes or all(event.kind != "dropout" for event in found):
        return list(found)
    start, end = found[0].start_s, found[-1].end_s
    on_times = [later.start_s - earlier.end_s for earlier, later in pairwise(found)]
    longest = _ALIKE * max([*on_times, *(event.end_s - event.start_s for event in found)])
    nearby = min(longest, settings.chatter_spacing_s)
    changes = 2 * len(found)
    if stretch is not None:
        reaches_begin = stretch.edge is not None and start - stretch.begin_s < nearby
        reaches_end = ends and stretch.end_s - end < nearby
        start = stretch.begin_s if reaches_begin else start
        end = stretch.end_s if reaches_end else end
        stretch.broken = reaches_begin and reaches_end
        changes += reaches_begin + reaches_end
    levels = [event.level for event in found if event.level is not None]
    extremes = [event.extreme for event in found if event.extreme is not None]
    return [
        Event(
            "chatter",
            channel,
            start,
            end,
            end - start,
            sum(event.duration_error_s or 0.0 for event in (found[0], found[-1])) / 2**0.5,
            level=min(levels, default=None),
            extreme=min(extremes, default=None),
            reference=found[0].reference,
            detail=f"{changes} on/off changes in {end - start:.1f} s, each less than "
            f"{settings.chatter_spacing_s:g} s apart",
        )
    ]


class Waiting:
    """The interruptions that may yet become chatter, as what follows them will show.

    Attributes:
        events: where they go once that is known.
        stretch: the 'on' interval that they interrupt.
    """

    def __init__(self, channel: int, events: list[Event], settings: DetectionSettings, told: bool) -> None:
        """Start with none; without `told` none becomes an event."""
        self.events = events
        self.stretch: Stretch | None = None
        self._channel = channel
        self._settings = settings
        self._told = told
        self._waiting: list[Event] = []

    def __bool__(self) -> bool:
        return bool(self._waiting)

    def add(self, event: Event, short: bool) -> None:
        """Take an interruption: alone, or part of chatter where it is `short`."""
        # As far as their error lets them be, changes are close enough for chatter.
        spacing_s = self._settings.chatter_spacing_s + (event.duration_error_s or 0.0) / 2
        short = short and event.end_s - event.start_s < spacing_s
        near = bool(self._waiting) and event.start_s - self._waiting[-1].end_s < spacing_s
        if not (short and near) or len(self._waiting) >= _MOST_WAITING:
            self.flush()
        self._waiting.append(event)
        if not short:
            self.flush()

    def pass_to(self, now_s: float, interval_s: float) -> None:
        """Let them go where none has followed closely by `now_s`, s."""
        # Two intervals more, since an edge lies up to that much before the reading that shows it.
        if self._waiting and now_s - self._waiting[-1].end_s >= self._settings.chatter_spacing_s + 3 * interval_s:
            self.flush()

    def flush(self, ends: bool = False) -> None:
        """No further one follows closely: say what they amount to; `ends` where the 'on' interval ends with them."""
        if self._waiting and self._told:
            self.events += interruptions(self._channel, self._waiting, self.stretch, ends, self._settings)
        self._waiting.clear()

    def replace(self, old: Event, new: Event) -> None:
        """Put another event in the place of one, whether it waits or not."""
        for listed in (self.events, self._waiting):
            for at in range(len(listed) - 1, -1, -1):  # it is among the last, of thousands
                if listed[at] == old:
                    listed[at] = new
                if listed[at].end_s <= old.end_s:
                    break
