"""Reads what the address of a Review asks for, so that a sent link shows the same stretch, event and scale."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Self

Span = tuple[float, float]

_SHORTEST_S = 0.02
"""The narrowest stretch, s; `stretch.js` has the same."""


@dataclass(frozen=True, slots=True)
class Asked:
    """Holds what an address asks for.

    Attributes:
        span: from when to when, s from the session's start.
        event: the number of the event that stands out; None for none.
        fitted: whether the scales fit what is shown.
        refused: a sentence where the address asks for what is not there.
    """

    span: Span
    event: int | None = None
    fitted: bool = False
    refused: str = ""

    @classmethod
    def of(cls, query: Mapping[str, str], whole: Span) -> Self:
        """Read `from`, `to` (s), `event` and `fit`; all of the session where nothing, or nothing sensible, is asked."""
        event = query.get("event", "")
        number = int(event) if event.isascii() and event.isdigit() and len(event) < 9 and int(event) else None
        fitted = query.get("fit") == "1"
        if "from" not in query and "to" not in query:
            return cls(whole, number, fitted)
        try:
            start, end = float(query.get("from", whole[0])), float(query.get("to", whole[1]))
        except ValueError:
            start = end = math.nan
        start, end = max(start, whole[0]), min(end, whole[1])
        if not end - start >= _SHORTEST_S:
            return cls(whole, number, fitted, "The address asks for a stretch that this session has not: all is shown.")
        return cls((start, end), number, fitted)
