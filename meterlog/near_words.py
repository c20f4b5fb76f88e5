"""Tells from plain words (a label, a test point, a complaint) what a place is near: its cautions follow from that."""

from __future__ import annotations

import re

from meterlog.cautions import CAUTIONS, FUEL, GAS, HIGH_CURRENT, HOT, MOVING, RESTRAINT, UNDER, Act
from meterlog.reading import Quantity

_WORDS = {
    FUEL: r"fuel|petrol|gasoline|diesel|pump|inject\w*|rail|tank|evap\w*|purge",
    RESTRAINT: r"air ?bags?|srs|seat|belt tension\w*|restraint|squib",
    GAS: r"batt?\w*|accumulator|post|jumper",
    MOVING: r"fan|belt|alternator|generator|starter|pulley|compressor",
    HOT: r"exhaust|lambda|oxygen|o2|egr|glow\w*|turbo\w*|catalyst|manifold",
    HIGH_CURRENT: r"batt?\w*|starter|solenoid|alternator|generator|b plus|stud|cable|winch|glow\w*",
    UNDER: r"tank|under\w*|axle|subframe|chassis|towbar|trailer",
}
"""Words of the trade for what is near each hazard; on the safe side, a coolant pump counts as fuel. A choice."""
_TURNING = r"crank\w*|start\w*|charg\w*|idl\w+|run\w*|driv\w+|road"
"""Words that say that the engine turns, or will."""
_POSTS = r"(?:batt\w*|accumulator|posts?|plus|minus|positive|negative|supply|[ad]c|voltage|\s)+"
"""All that is said of a meter at a battery's posts, where there is no connector to back-probe; one word more and
there may be."""

MATTER = tuple(caution.text for caution in CAUTIONS if caution.name in ("restraint", "moves"))
"""The two that matter wherever a meter is left on a vehicle, also with `--quiet`: what fires, and what moves."""


def recording(words: str, quantity: Quantity | None = None) -> Act:
    """Return what is done by recording at a place, from all that was said about it."""
    plain = re.sub(r"[_\W]+", " ", words.casefold().replace("b+", "b plus")).strip()
    near = frozenset(hazard for hazard, known in _WORDS.items() if _has(plain, known))
    posts = GAS in near and re.fullmatch(_POSTS, plain) is not None
    return Act("record", quantity, "" if _has(plain, _TURNING) else "key_on", near=near, backprobed=not posts)


def _has(plain: str, known: str) -> bool:
    return re.search(rf"\b(?:{known})\b", plain) is not None
