"""Faults counted on both sides: rates by the time in which one could have been seen, missing primes by key-ons."""

from __future__ import annotations

import math
from collections.abc import Sequence

from meterlog.comparing.combine import same
from meterlog.comparing.comparison import Counted, Measure, Same
from meterlog.comparing.pairing import Side
from meterlog.events.missing_prime import KEY_ON
from meterlog.findings.chance import chance_of_at_least, chance_of_split, quiet_needed, rate_span
from meterlog.kinds import KINDS, faults
from meterlog.limits import Limits
from meterlog.sides import Sides
from meterlog.text.figures import seconds

_RARE = 0.05
"""Two counts differ where chance alone would part them so seldom: the 95 times in 100 of all that is stated here."""
_HOUR_S = 3600.0


def counts(good: Sequence[Side], suspect: Side, limits: Limits, sides: Sides) -> list[Measure]:
    """A row for each kind of fault that any capture shows."""
    rows = [_missing_primes(good, suspect)]
    for kind in faults():
        own, own_s = _seen(suspect, kind, limits)
        others = [_seen(side, kind, limits) for side in good]
        found = Counted(sum(n for n, _ in others), math.fsum(s for _, s in others), own, own_s)
        if found.good or found.suspect:
            rows.append(_rate(f"{KINDS[kind].words} per hour", found, limits, sides))
    return [row for row in rows if row is not None]


def _seen(side: Side, kind: str, limits: Limits) -> tuple[int, float]:
    """Return how many bursts of that fault, and for how long one could have been seen, s."""
    capture, channel = side
    return capture.bursts(channel, kind, limits.value("marker_window_s")), capture.exposed_s(channel)


def _rate(name: str, found: Counted, limits: Limits, sides: Sides) -> Measure:
    """Two Poisson rates: exact intervals for each, and the exact conditional binomial test of their difference."""
    if not (found.good_of > 0 and found.suspect_of > 0):
        lacking = sides.the_reference if found.good_of <= 0 else sides.the_other
        note = f"too few readings for it in {lacking}"
        return Measure(name, None, "1/h", None, None, None, None, None, None, "cannot tell", note, found)
    hours = found.good_of / _HOUR_S, found.suspect_of / _HOUR_S
    share, total = hours[1] / sum(hours), found.good + found.suspect
    tail = min(chance_of_at_least(found.suspect, total, share), chance_of_at_least(found.good, total, 1 - share))
    chance = min(1.0, 2 * tail)
    rates = found.good / hours[0], found.suspect / hours[1]
    spans = rate_span(found.good, hours[0]), rate_span(found.suspect, hours[1])
    halves = [max(high - rate, rate - low) for (low, high), rate in zip(spans, rates, strict=True)]
    # The limits of a difference from those of its parts, squares added: for skewed ones too (Zou and Donner 2008).
    (low, high), (own_low, own_high) = spans
    up, down = math.hypot(own_high - rates[1], rates[0] - low), math.hypot(rates[1] - own_low, high - rates[0])
    uncertainty = max(up, down)
    verdict: Same = "different"
    if chance >= _RARE:
        verdict = same(0.0, uncertainty, limits.value("same_time_share") * max(rates))
    note = f"chance {chance:.2g}"
    if verdict == "cannot tell":
        note += _would_tell(found, sides)
    figures = (rates[0], halves[0], rates[1], halves[1], rates[1] - rates[0], uncertainty)
    return Measure(name, None, "1/h", *figures, verdict, note, found)


def _would_tell(found: Counted, sides: Sides) -> str:
    """Say how long one side must stay quiet to prove a difference, where it was quiet so far."""
    for quiet, quiet_s, others, others_s, side in (
        (found.suspect, found.suspect_of, found.good, found.good_of, sides.the_other),
        (found.good, found.good_of, found.suspect, found.suspect_of, sides.the_reference),
    ):
        if not quiet:
            needed_s = quiet_needed(others, others_s, _RARE / 2)
            return f"; {seconds(needed_s)} without one in {side} would tell, and it was {seconds(quiet_s)}"
    return ""


def _missing_primes(good: Sequence[Side], suspect: Side) -> Measure | None:
    """Primes that did not come, of the key-ons."""

    def missing(side: Side) -> tuple[int, int]:
        capture, channel = side
        tries = sum(marker.name.strip().casefold() == KEY_ON for marker in capture.markers)
        return len(capture.events_of(channel, "missing_prime")), tries

    own, others = missing(suspect), [missing(side) for side in good]
    of_good = sum(n for n, _ in others), sum(tries for _, tries in others)
    if not (own[0] or of_good[0]) or not (own[1] and of_good[1]):
        return None
    chance = chance_of_split(of_good[0], of_good[1], own[0], own[1])
    shares = of_good[0] / of_good[1], own[0] / own[1]
    return Measure(
        f"{KINDS['missing_prime'].words} per key-on",
        None,
        "",
        shares[0],
        None,
        shares[1],
        None,
        shares[1] - shares[0],
        None,
        "different" if chance < _RARE else "cannot tell",
        f"chance {chance:.2g}",
        Counted(*of_good, *own, timed=False),
    )
