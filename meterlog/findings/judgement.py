"""Holds a figure with its error against limits that may have an error too."""

from __future__ import annotations

from typing import NamedTuple

from meterlog.findings.finding import Verdict

Span = tuple[float, float]
"""The lowest and highest that a limit may be; equal where it is one number."""

_WORST_FIRST: tuple[Verdict, ...] = ("outside", "cannot tell", "within")


class Judgement(NamedTuple):
    """A verdict with its margin; see `Finding`."""

    verdict: Verdict
    margin: float
    margin_error: float


def judge(value: float, error: float, *, low: Span | None = None, high: Span | None = None) -> Judgement:
    """Hold `value` +- `error` against a lowest and a highest allowed value, at least one of them given.

    Returns:
        'within' where the whole band is inside, 'outside' where the whole band is beyond a limit, else 'cannot
        tell'; the margin is that to the nearer limit.
    """
    sides = []
    if low is not None:
        sides.append(_side(value - sum(low) / 2, error + (low[1] - low[0]) / 2))
    if high is not None:
        sides.append(_side(sum(high) / 2 - value, error + (high[1] - high[0]) / 2))
    return worst(sides)


def worst(judgements: list[Judgement]) -> Judgement:
    """The one that decides: outside before cannot tell before within, and the smallest margin among equals."""
    return min(judgements, key=rank)


def rank(judgement: Judgement) -> tuple[int, float]:
    """Sorts judgements, the one that decides first."""
    return _WORST_FIRST.index(judgement.verdict), judgement.margin


def _side(margin: float, error: float) -> Judgement:
    if margin > error:
        return Judgement("within", margin, error)
    return Judgement("outside" if margin < -error else "cannot tell", margin, error)
