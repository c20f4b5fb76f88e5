"""Finds the level of ohms: what the leads have themselves, tips together, then what lies between the two places."""

from __future__ import annotations

import math
from collections import deque

from meterlog.circuit.readings.from_meter import agree
from meterlog.driver.steady import STEADY
from meterlog.job.taking.level import Counts, Level, level_of
from meterlog.reading import Accuracy, Flag, Reading

_LEADS_MOST_OHM = 1.0
"""Leads have less, tips together, ohm (makers' manuals: 0.2 to 0.6)."""
_TOUCH_LONGEST_S = 4.0
"""Tips are held together for less than that, s: a guess."""
_MATTERS_SHARE = 10.0
"""Readings of more than so many times the most that leads have need no nulling: they change them by under 10 %."""


class OhmsLevel:
    """Finds the ohms between two places."""

    def __init__(self, accuracy: Accuracy) -> None:
        """Begin before the first reading."""
        self._accuracy = accuracy
        self._recent: deque[Reading] = deque(maxlen=STEADY)
        self._contact: list[Reading] = []
        self._leads: Level | None = None
        self._nulled = self._touched = self._proved = False

    @property
    def ready(self) -> str:
        """See `LevelWatch`."""
        if self._nulled:
            return "The meter has nulled its leads: now on the two places."
        if self._leads is not None:
            return f"The leads have {self._leads.value:.2g} ohm: now on the two places."
        return "Touch the tips together first, then on the two places."

    @property
    def waiting_for(self) -> str:
        """See `LevelWatch`."""
        if self.standing is None:
            return "nothing steady yet"
        return "open: do both probes touch? Tips together once, then back, proves it"

    @property
    def standing(self) -> Level | None:
        """See `LevelWatch`."""
        recent = list(self._recent)
        return self._without_leads(level_of(recent, self._accuracy, "as it stood")) if agree(recent) else None

    @property
    def counts(self) -> Counts:
        """See `LevelWatch`."""
        return "soon" if self._proved else "late" if self._touched else "never"

    def feed(self, reading: Reading) -> Level | None:
        """See `LevelWatch`."""
        self._recent.append(reading)
        if reading.flags & Flag.RELATIVE and not self._nulled:
            self._nulled, self._contact = True, []  # the tips are together while that is pressed
        if math.isinf(reading.value):
            self._let_go()
            return None
        self._touched = True
        self._contact.append(reading)
        last = self._contact[-STEADY:]
        if not agree(last):
            return None
        level = level_of(last, self._accuracy)
        held_s = reading.time_s - self._contact[0].time_s
        if self._like_tips(level) and held_s < _TOUCH_LONGEST_S:
            return None
        return self._without_leads(level)

    def _like_tips(self, level: Level) -> bool:
        """Tell whether it may be the tips together: first to know the leads, then again to prove that they touch."""
        if level.value >= _LEADS_MOST_OHM:
            return False
        if self._leads is None and not self._nulled:
            return True
        tips = self._leads if self._leads is not None and not self._nulled else level._replace(value=0.0, error=0.0)
        return abs(level.value - tips.value) <= math.hypot(level.error, tips.error)

    def _let_go(self) -> None:
        """Note the leads' own ohms where the tips were held together for a moment."""
        contact, self._contact = self._contact, []
        inner = contact[1:] if len(contact) > STEADY else contact  # the first may have averaged the way there
        if not agree(inner) or not self._like_tips(level := level_of(inner, self._accuracy)):
            return
        if self._leads is None and not self._nulled:
            self._leads = level
        else:
            self._proved = True

    def _without_leads(self, level: Level) -> Level:
        """Take the leads off, and say so; what is much larger needs no nulling."""
        if math.isinf(level.value):
            return level
        if self._nulled:
            return level._replace(nulled=True)
        if self._leads is None:
            small = level.value < _MATTERS_SHARE * _LEADS_MOST_OHM
            return level._replace(words="with the leads, which were not nulled") if small else level
        return level._replace(
            value=max(level.value - self._leads.value, 0.0),
            error=math.hypot(level.error, self._leads.error),
            words=f"less {self._leads.value:.2g} ohm of the leads",
            nulled=True,
        )
