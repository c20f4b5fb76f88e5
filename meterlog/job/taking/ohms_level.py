"""Finds the level of ohms: what the leads have themselves, tips together, then what lies between the two places."""

from __future__ import annotations

import math
from collections import deque

from meterlog.circuit.readings.from_meter import STEADY, agree
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
        self._nulled = self._touched = False

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
        return "late" if self._touched else "never"

    def feed(self, reading: Reading) -> Level | None:
        """See `LevelWatch`."""
        self._recent.append(reading)
        self._nulled = self._nulled or bool(reading.flags & Flag.RELATIVE)
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
        could_be_leads = level.value < _LEADS_MOST_OHM and self._leads is None and not self._nulled
        if could_be_leads and held_s < _TOUCH_LONGEST_S:
            return None
        return self._without_leads(level)

    def _let_go(self) -> None:
        """Note the leads' own ohms where the tips were held together for a moment."""
        contact, self._contact = self._contact, []
        inner = contact[1:] if len(contact) > STEADY else contact  # the first may have averaged the way there
        if self._leads is None and agree(inner) and max(one.value for one in inner) < _LEADS_MOST_OHM:
            self._leads = level_of(inner, self._accuracy)

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
