"""One thing that the analyzer found."""

from __future__ import annotations

from dataclasses import asdict, dataclass


@dataclass(frozen=True, slots=True)
class Event:
    """One thing that the analyzer found. Absent figures are None.

    Attributes:
        kind: one of `meterlog.kinds.KINDS`.
        channel: the channel's number in its session.
        start_s: when it began, s from the session's start.
        end_s: when it ended, s.
        duration_s: s; not always end - start to the last digit, since edges are placed inside reading intervals.
        duration_error_s: half-width of the band that covers the true duration at least 95 times in 100, s.
        level: the state level (see the kind), in the channel's unit.
        extreme: the lowest or highest reading inside, in the channel's unit.
        reference: what it was measured against, in the channel's unit.
        detail: one plain sentence.
    """

    kind: str
    channel: int
    start_s: float
    end_s: float
    duration_s: float | None = None
    duration_error_s: float | None = None
    level: float | None = None
    extreme: float | None = None
    reference: float | None = None
    detail: str = ""

    def as_json(self) -> dict[str, object]:
        """The object of `analyze --json`; infinities as None, since JSON has none."""
        values: dict[str, object] = asdict(self)
        for key, value in values.items():
            if isinstance(value, float) and abs(value) == float("inf"):
                values[key] = None
        return values
