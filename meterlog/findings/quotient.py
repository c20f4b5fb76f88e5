"""A quotient with the bounds that its two errors leave it; to first order they are too narrow where these are large."""

from __future__ import annotations

import math
from typing import NamedTuple

from meterlog.text.figures import shown

_EVEN = 1.25
"""Where the farther bound is at most so many times as far as the nearer, one +- says both: a choice."""


class Quotient(NamedTuple):
    """A quotient: the value that was measured, and the least and the most that it can be."""

    value: float
    low: float
    high: float

    @property
    def middle(self) -> float:
        """Return the middle of what it can be."""
        return (self.low + self.high) / 2

    @property
    def half(self) -> float:
        """Return half of what lies between the bounds."""
        return (self.high - self.low) / 2

    def said(self, unit: str) -> str:
        """For example `0.100 ohm +-0.003`, or `0.25 ohm (0.12 ohm to 2.2 ohm)` where it is uneven."""
        farther = max(self.high - self.value, self.value - self.low)
        nearer = min(self.high - self.value, self.value - self.low)
        if farther <= _EVEN * nearer:
            return shown(self.value, unit, farther)
        return f"{shown(self.value, unit)} ({shown(max(self.low, 0.0), unit)} to {shown(self.high, unit)})"


def quotient(above: float, above_error: float, below: float, below_error: float) -> Quotient:
    """Divide `above` +- its error by `below` +- its error; `below` is positive.

    The bounds are those of both errors together, as everywhere in findings: two meters' errors are fixed for the whole
    session, and may well point opposite ways. Where `below` can be nothing, so can the quotient be anything.
    """
    value = above / below
    if below <= below_error:
        return Quotient(value, -math.inf, math.inf)
    ends = (below - below_error, below + below_error)
    low, high = above - above_error, above + above_error
    return Quotient(value, low / (ends[0] if low < 0 else ends[1]), high / (ends[1] if high < 0 else ends[0]))
