"""A statement with its evidence and its uncertainty."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

from meterlog.findings.line import Line

Verdict = Literal["within", "outside", "cannot tell"]
"""The spelling is part of `analyze --json`."""


@dataclass(frozen=True, slots=True)
class Alternative:
    """Another explanation of what was found, which is no fault.

    That the probe touched, and that the meter reads right, is supposed by every finding, and no alternative.

    Attributes:
        explanation: what else may have done it, in a sentence.
        decides: the one measurement, marker or detail that tells which it was, in a sentence.
    """

    explanation: str
    decides: str

    def __str__(self) -> str:
        """The sentences as a finding's text ends with them."""
        return f"{self.explanation} {self.decides}"


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
        alternative: another explanation that `text` names; `unless` adds it.

    Raises:
        ValueError: 'outside' although another explanation is named: a part would be bought on these words.
    """

    text: str
    limit: str
    source: str
    verdict: Verdict
    margin: float | None = None
    margin_error: float | None = None
    channel: int | None = None
    lines: tuple[Line, ...] = ()
    alternative: Alternative | None = None

    def __post_init__(self) -> None:
        if self.alternative is not None and self.verdict == "outside":
            raise ValueError(f"'outside' beside another explanation: {self.text}")

    def unless(self, alternative: Alternative) -> Finding:
        """Return the finding with another explanation in its text: what was 'outside' becomes 'cannot tell'."""
        verdict: Verdict = "cannot tell" if self.verdict == "outside" else self.verdict
        return replace(self, text=f"{self.text} {alternative}", verdict=verdict, alternative=alternative)

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
