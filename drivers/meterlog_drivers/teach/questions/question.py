"""Holds what a person is asked to show."""

from __future__ import annotations

from typing import NamedTuple

from meterlog.reading import Quantity
from meterlog_drivers.teach.moments import Label

ENOUGH_EACH = 2
"""Readings on which a code should rest, so that one slip of the keyboard cannot make it; a choice."""


class Question(NamedTuple):
    """Something to show.

    Attributes:
        name: what it is about; a question that was refused is not asked again.
        text: what to do, for the person; then they type what the display shows.
        why: what is open without it.
        quantity: that the dial should be on; None for the one that it is on.
        minus, overload: what the display should show.
        digit: a digit that should be in the number; None for any.
        place: where it should be, 0 for the last digit; None for anywhere.
        high, low: the number should be as high as it can be made, or nearly zero.
        like: the dial and the range should be as they were when it showed this.
    """

    name: str
    text: str
    why: str
    quantity: Quantity | None = None
    minus: bool = False
    overload: bool = False
    digit: int | None = None
    place: int | None = None
    high: bool = False
    low: bool = False
    like: Label | None = None


def range_of(label: Label) -> tuple[Quantity, int, int]:
    """The dial's place and range in which a display showed something."""
    return label.quantity, label.prefix, label.decimals
