"""Says how often a contact that comes and goes is good while somebody measures, by what is known of heat.

A driver may say that it fails only when hot: cold, such a contact reads good nearly every time, and readings tell
nothing until it was warmed up and failed.
"""

from __future__ import annotations

from collections.abc import Sequence

from meterlog.circuit.readings.observed import Observed
from meterlog.circuit.readings.trial import Told

ONLY_WHEN_HOT, FAILS_WHEN_WARM = "only_when_hot", "fails_when_warm"
Shares = tuple[tuple[float, float], ...]
GOOD_SHARES: Shares = ((0.3, 1.0), (0.5, 1.0), (0.7, 1.0))
COLD_GOOD_SHARES: Shares = ((0.3, 0.5), (0.5, 0.5), (0.7, 1.0), (0.97, 3.0))
"""Of the time, how much a contact that comes and goes is good while somebody measures, and one that is said to fail
only when hot, before it was warmed up, each with its weight: a driver may take for heat what comes and goes by itself.
Guesses."""
WARM_GOOD_NEXT = 0.2
"""Says how often it is good at the next reading once it was warmed up until it failed. A guess."""


def only_when_hot(tried: Sequence[Told]) -> bool:
    """Tell whether the driver says that it fails only when hot."""
    return _answer(tried, ONLY_WHEN_HOT) == "yes"


def is_cold(tried: Sequence[Told]) -> bool:
    """Tell whether it is said to fail only when hot and nobody has warmed it up yet."""
    return only_when_hot(tried) and not _answer(tried, FAILS_WHEN_WARM)


def good_shares(tried: Sequence[Told]) -> Shares:
    """Give how much of the time a contact that comes and goes may be good, with weights."""
    return COLD_GOOD_SHARES if is_cold(tried) else GOOD_SHARES


def failed_warm(tried: Sequence[Told]) -> bool:
    """Tell whether it was warmed up until it failed."""
    return _answer(tried, FAILS_WHEN_WARM) == "yes"


def _answer(tried: Sequence[Told], key: str) -> str:
    return next((one.answer for one in tried if isinstance(one, Observed) and one.key == key), "")
