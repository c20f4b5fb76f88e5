"""Which stretch of time Review shows next, after what a person pressed, chose or dragged."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from meterlog.events.event import Event

Span = tuple[float, float]

SHORTEST_S = 0.02
AROUND_S = 10.0
"""Before and after a moment that is gone to."""

_MOVES = {"earlier": (-0.5, -0.5), "later": (0.5, 0.5), "closer": (0.25, -0.25), "wider": (-0.5, 0.5)}
"""What each button adds to start and end, in lengths of the stretch."""
MOVES = (*_MOVES, "all")


@dataclass(frozen=True, slots=True)
class Session:
    """What the stretches lie in.

    Attributes:
        duration_s: s.
    """

    duration_s: float

    @property
    def whole(self) -> Span:
        """All of it with a little room at the ends."""
        pad_s = max(0.5, 0.01 * self.duration_s)
        return -pad_s, self.duration_s + pad_s

    def clipped(self, start_s: float, end_s: float) -> Span:
        """A stretch moved and cut so that it lies within the session."""
        whole = self.whole
        length_s = min(max(end_s - start_s, SHORTEST_S), whole[1] - whole[0])
        start_s = min(max(start_s, whole[0]), whole[1] - length_s)
        return start_s, start_s + length_s

    def moved(self, move: str, old: Span) -> Span:
        """After a button of `MOVES`."""
        if move == "all":
            return self.whole
        length_s = old[1] - old[0]
        first, last = _MOVES[move]
        return self.clipped(old[0] + first * length_s, old[1] + last * length_s)

    def around(self, at_s: float) -> Span:
        """A moment in the middle."""
        return self.clipped(at_s - AROUND_S, at_s + AROUND_S)

    def on_event(self, event: Event, old: Span) -> Span:
        """An event with its surroundings; the old stretch where that shows it well already."""
        pad_s = max(3.0, event.end_s - event.start_s)
        if old[0] <= event.start_s and event.end_s <= old[1] and old[1] - old[0] <= 6 * pad_s:
            return old
        return self.clipped(event.start_s - pad_s, event.end_s + pad_s)

    def pressed(self, at_s: float, old: Span) -> Span:
        """A place of the strip that was pressed: the stretch goes there; a tenth of all where all was shown."""
        half_s, all_s = (old[1] - old[0]) / 2, self.whole[1] - self.whole[0]
        half_s = 0.05 * all_s if half_s > 0.45 * all_s else half_s
        return self.clipped(at_s - half_s, at_s + half_s)

    def followed(self, old: Span, old_duration_s: float) -> Span:
        """After the session grew: along with its end where that was in view, else as before."""
        grown_s = self.duration_s - old_duration_s
        if old[1] < old_duration_s:
            return old
        return (old[0] if old[0] <= 0 else old[0] + grown_s), old[1] + grown_s


def dragged(ends_s: Sequence[float]) -> Span:
    """A stretch that a person dragged, either way round."""
    start_s, end_s = min(ends_s), max(ends_s)
    return start_s, max(end_s, start_s + SHORTEST_S)
