"""A statement with its evidence and its uncertainty."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from meterlog.findings.line import Line

Verdict = Literal["within", "outside", "cannot tell"]
"""The spelling is part of `analyze --json`."""


@dataclass(frozen=True, slots=True)
class Finding:
    """A statement with its evidence and its uncertainty.

    Attributes:
        text: what was found, with its figures and their errors, in one or more plain sentences.
        limit: what it was held against, in words; empty where nothing is known to hold it against.
        source: where the limit comes from, with its grade.
        verdict: 'cannot tell' whenever the error straddles the limit, or the evidence has another explanation.
        margin: how far inside the limit, in the unit of `text`; negative is outside; None where it has no number.
        margin_error: half-width of the band around `margin`.
        channel: the channel concerned; None for several or none.
        lines: the levels that it was judged by; none where it was not judged by a level of one channel.
    """

    text: str
    limit: str
    source: str
    verdict: Verdict
    margin: float | None = None
    margin_error: float | None = None
    channel: int | None = None
    lines: tuple[Line, ...] = ()

    def as_json(self) -> dict[str, object]:
        """The object of `analyze --json`."""
        return {
            "text": self.text,
            "limit": self.limit,
            "source": self.source,
            "verdict": self.verdict,
            "margin": self.margin,
            "margin_error": self.margin_error,
        }
