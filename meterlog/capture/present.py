"""Puts into words what is so now, for the page and the terminal alike: what the circuit does, and how the link is.

What is so now is shown and sounded as long as it is so; what happened is an event, and stands in a list.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from meterlog.events.standing import Does, Standing
from meterlog.reading import Flag, Reading
from meterlog.text.figures import displayed, seconds

SILENT_INTERVALS = 4.0
"""So many intervals without a reading are silence: as the event `gap`."""
SILENT_AT_LEAST_S = 2.0
"""Silence shorter than this is not worth an alarm, s; a guess, twice the least `gap`."""

_MINUTES_FROM_S = 120

Sort = Literal["calm", "trouble", "doubt", "lost"]
"""`doubt`: the meter's reading tells nothing of the circuit; `lost`: nothing comes from the meter."""

_SHOUTED: dict[Does, str] = {
    "off": "OFF",
    "sagging": "SAGGING",
    "high": "TOO HIGH",
    "interrupted": "NO CURRENT",
    "open": "OPEN",
}

_CALM: dict[Does, str] = {"on": "on at", "flowing": "on at", "closed": "closed,", "interrupted": "off"}
_AT = ("on", "flowing", "closed")
"""States whose figure says more than how long they last."""


@dataclass(frozen=True, slots=True)
class Present:
    """Something that is so now.

    Attributes:
        sort: how it concerns a person.
        word: in a word or two: `on`, `OFF for 3 s`, `no link for 5 s`.
        text: the figures with it.
        since: differs whenever another state has begun; each is sounded once.
    """

    sort: Sort
    word: str
    text: str
    since: str

    @property
    def words(self) -> str:
        """All of it in one line."""
        between = " " if self.sort == "calm" else ", "
        return between.join(part for part in (self.word, self.text) if part)


def silent_after_s(interval_s: float | None) -> float:
    """Return the silence after which a meter's last reading is not what is so now, s."""
    return max(SILENT_AT_LEAST_S, SILENT_INTERVALS * (interval_s or 0.0))


def link_now(age_s: float | None, interval_s: float | None, *, up: bool = True, cause: str = "") -> Present:
    """Return how the link to a meter is.

    Args:
        age_s: of its newest reading, s; None where none came yet.
        interval_s: between its readings, s; None where that is not known.
        up: False where the recorder lost it.
        cause: why, in the recorder's words.
    """
    if age_s is None:
        return Present("calm" if up else "lost", "no reading yet", cause, "none")
    if up and age_s <= silent_after_s(interval_s):
        return Present("calm", "link up", "", "up")
    return Present("lost", f"no link for {lasting(age_s)}", cause or "the meter is silent", "down")


def state_now(last: Reading | None, standing: Standing | None, now_s: float, link: Present) -> Present:
    """Return what a channel's circuit does, as far as its newest reading tells.

    Args:
        last: the newest reading; its time is from the session's start, as all of these.
        standing: what the detectors' machines know.
        now_s: this moment, s.
        link: `link_now` of its meter: what was read long ago is not so now.
    """
    if last is None:
        return Present("calm", "no reading yet", "", "none")
    shown = displayed(last.value, last.quantity.unit, last.resolution)
    low = "; the meter's battery is low" if last.flags & Flag.LOW_BATTERY else ""
    if link.sort == "lost":
        return Present("lost", "not known", f"{shown} was read {lasting(now_s - last.time_s)} ago", "lost")
    if last.flags & Flag.HOLD:
        return Present("doubt", "HOLD", f"the display stands still at {shown}", "hold")
    if math.isinf(last.value) and (standing is None or standing.does not in ("open", "untouched")):
        return Present("doubt", "overload", "beyond the meter's range, or a probe is open", "overload")
    if standing is None:
        return Present("calm", f"{shown}{low}", "", "reading")
    since = f"{standing.does} {standing.since_s}"
    if standing.does == "untouched":
        return Present("doubt", "probe open", "nothing is connected yet", since)
    lasts = _lasts(now_s, standing.since_s)
    if standing.unwanted:
        return Present("trouble", f"{_SHOUTED[standing.does]}{lasts}", f"{shown}{_usually(last, standing)}{low}", since)
    word = _CALM.get(standing.does, standing.does)
    return Present("calm", word if standing.does in _AT else f"{word}{lasts},", f"{shown}{low}", since)


def lasting(duration_s: float) -> str:
    """Return how long something has been so, in whole seconds: `3 s`, `12 min`."""
    whole_s = math.floor(max(0.0, duration_s))
    return f"{whole_s} s" if whole_s < _MINUTES_FROM_S else seconds(whole_s)


def _lasts(now_s: float, since_s: float | None) -> str:
    """Say how long, once that is a second."""
    return "" if since_s is None or now_s - since_s < 1.0 else f" for {lasting(now_s - since_s)}"


def _usually(last: Reading, standing: Standing) -> str:
    if standing.usual is None or not math.isfinite(standing.usual):
        return ""
    usual = displayed(standing.usual, last.quantity.unit, last.resolution)
    return f"; at most {usual} is right" if standing.does == "high" else f"; it stood at {usual}"
