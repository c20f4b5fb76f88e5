"""The level that a finding was judged by, as it is drawn into a channel's plot."""

from __future__ import annotations

from dataclasses import dataclass

_PAD_LEAST_S, _PAD_SHARE = 1.0, 0.25
"""A line's extra length at either side of what was judged, so that it is seen: s, and as a share of it; a guess."""

Stretch = tuple[float | None, float | None]
"""From when to when a line holds, s from the session's start; None: from its start, to its end."""


@dataclass(frozen=True, slots=True)
class Line:
    """A level that a finding was judged by.

    Attributes:
        channel: in whose plot it is drawn.
        level: in the channel's unit.
        words: what it is.
        start_s: from where it holds, s from the session's start; None: from the start of the session.
        end_s: until where, s; None: to its end.
    """

    channel: int
    level: float
    words: str
    start_s: float | None = None
    end_s: float | None = None


def around(start_s: float, end_s: float) -> Stretch:
    """Return from when to when a line is drawn that was judged between two times, s."""
    pad_s = max(_PAD_LEAST_S, _PAD_SHARE * (end_s - start_s))
    return start_s - pad_s, end_s + pad_s


def limit_lines(
    channel: int, limit: tuple[float, float], words: str, stretch: Stretch = (None, None)
) -> tuple[Line, ...]:
    """Return the line of a limit; where it may be anything between two values, both with what lies between them."""
    if limit[0] == limit[1]:
        return (Line(channel, limit[0], words, *stretch),)
    return tuple(
        Line(channel, level, f"{words} ({word} that it may be)", *stretch)
        for level, word in zip(sorted(limit), ("the lowest", "the highest"), strict=True)
    )
