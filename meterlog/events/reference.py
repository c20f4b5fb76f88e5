"""Follows what a supply usually stands at: a fast reference, and a slow one that a fade cannot draw along.

The fast one is the median of up to 64 undisturbed readings, taken anew every 32 readings, and sooner while there are
few. Dips and overvoltages are left out, so neither becomes the reference. The slow one is the highest that the fast one
reached in this 'on' interval, up to what the system stands at when it rests: charging that ends is no fade.
"""

from __future__ import annotations

from math import inf

from meterlog.events.settings import SYSTEM_SPLIT_V, DetectionSettings
from meterlog.signal.levels import median
from meterlog.signal.track import Track

WINDOW = 64
"""Undisturbed readings whose median is the fast reference: a choice (IEC 61000-4-30: a one-minute filter, on AC)."""
_FEW = 16
"""While the reference rests on fewer readings it is taken anew at each few: a choice, for speed."""
_EVERY = 32
"""Readings after which a full reference is taken anew: a choice, for speed."""
FIRST_READINGS = 4
"""Fewest readings of a reference: a guess."""
_SCAN_MARGIN = 0.01
"""The scan for calm stretches stops this share early, so that it never passes over a sag: any margin does."""
_SLOW_RISE = 1.05
"""The slow reference goes up in steps of this factor: a choice, above the noise of readings, for speed."""
_REST_SHARE = 1.05
"""A full lead-acid battery at rest (2.1 V a cell) over the nominal voltage (2 V a cell): arithmetic."""

CHARGING_SHARE = 1.1
"""Charging voltage (13.2 V and more) over the nominal 12 V, arithmetic from usual figures."""


class Reference:
    """The references of one supply.

    Attributes:
        value: the fast one, V.
        slow: the slow one, V; 0 while there is none.
        quiet: undisturbed readings begin here.
        update_at: the reading at which the fast one is taken anew.
    """

    def __init__(self, track: Track, settings: DetectionSettings, limited: bool) -> None:
        """Start without a reference; `limited` where the limits of the supply's system hold."""
        self.value = self.slow = 0.0
        self.quiet = self.update_at = 0
        self._track = track
        self._settings = settings
        self._limited = limited

    @property
    def _system_v(self) -> float:
        return self._settings.system_v or (24.0 if max(self.value, self.slow) > SYSTEM_SPLIT_V else 12.0)

    @property
    def ceiling(self) -> float:
        """No reference is above this: the overvoltage limit of the system, told from the reference where not stated."""
        if not self._limited:
            return inf
        return self._settings.overvoltage(self._settings.system_v or max(self.value, self.slow, SYSTEM_SPLIT_V / 2))

    @property
    def floor(self) -> float:
        """No supply of this system stands below this, V; 0 where it never stood above."""
        floor = self._settings.floor_share * self._system_v
        return floor if self._limited and max(self.value, self.slow) >= floor else 0.0

    @property
    def sag_below(self) -> float:
        """A sag begins below this, V."""
        return self._settings.sag_share * self.value

    def sag_below_rest(self, level: float) -> float:
        """Below this a sag of its own begins where charging ended at a level at rest, V; 0 where that is not so."""
        rest_v, charging_v = self._system_v, CHARGING_SHARE * self._system_v
        ended = self._limited and rest_v <= level <= charging_v < self.value
        return self._settings.sag_share * level if ended else 0.0

    @property
    def idle_from(self) -> float:
        """From here up the reference was no supply that is on, but the idle level of an input; inf where it is one."""
        return inf if self.floor else self.value / self._settings.off_share

    @property
    def fade_below(self) -> float:
        """A fade begins where the fast reference is below this, V."""
        return max(self._settings.sag_share * self.slow, self.floor)

    @property
    def new_level_from(self) -> float:
        """A sag that lasts is a new level from here up, V."""
        return max(self._settings.sag_shallow_share * self.value, self.floor)

    @property
    def fade_ends(self) -> float:
        """A fade ends at this, V."""
        return self.fade_below * (1.0 + self._settings.sag_hysteresis / self._settings.sag_share)

    def rest(self, index: int) -> None:
        """Undisturbed readings begin anew at reading `index`."""
        self.quiet = index
        self.update_at = index + FIRST_READINGS

    def accept(self, level: float) -> None:
        """Take a new level for the fast reference; for the slow one too, unless it is lower than a charger's stop."""
        usual = max(self.slow, min(self.value, self._highest))
        self.slow = usual if self._limited and level < self._settings.sag_share * usual else level
        self.value = level

    def slide(self, index: int, stop: int, high: float) -> int:
        """Take the fast reference anew at reading `index`, or later where it can step over a long calm stretch.

        Args:
            index: the reading gone on to so far.
            stop: no reading from here on is looked at.
            high: readings from here up mean something.

        Returns:
            the reading gone on to.
        """
        if index - self.quiet >= WINDOW:
            index += (self._calm_until(index, stop, high) - index) // _EVERY * _EVERY
        quiet = index - self.quiet
        if quiet >= FIRST_READINGS:
            values = self._track.values(max(self.quiet, index - WINDOW), index)
            values = values[values < self.ceiling]
            self.value = median(values) if len(values) else self.value
            self._rise()
        self.update_at = index + (FIRST_READINGS if quiet < _FEW else _FEW if quiet < WINDOW else _EVERY)
        return index

    def _calm_until(self, index: int, stop: int, high: float) -> int:
        """Find how far neither reference can do anything that counts."""
        track, settings = self._track, self._settings
        calm = track.calm_until(index, stop, settings.sag_share + _SCAN_MARGIN, self.ceiling, WINDOW)
        return track.first_outside(index, calm, self.fade_below, min(self._rises_from, high)) if calm > index else index

    @property
    def _rises_from(self) -> float:
        """The fast reference lifts the slow one from here up, V; inf where it is as high as it may be."""
        return _SLOW_RISE * self.slow if self.slow < self._highest else inf

    @property
    def _highest(self) -> float:
        """Return what a supply of its system stands at when it rests, V; inf where none is known."""
        return _REST_SHARE * self._system_v if self._limited and self.value < self.ceiling else inf

    def _rise(self) -> None:
        if self.value >= self._rises_from:
            self.slow = min(self.value, self._highest)
