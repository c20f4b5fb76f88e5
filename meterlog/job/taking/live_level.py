"""Finds the level of volts and amperes: what stands there at rest, and what the key changes it to.

Nobody presses a key to say that the ignition is on: the display says so. The first steady level is the rest; what
differs from it and holds is the reading. Where a sound circuit has its voltage at rest too (before a relay), a rise
from nothing is the probe that was clipped on, and the key shows by a small sag, or not at all.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Sequence
from statistics import median

from meterlog.circuit.readings.from_meter import NOTHING, agree
from meterlog.circuit.readings.measurement import Measurement
from meterlog.driver.steady import STEADY
from meterlog.job.taking.expected import Expected
from meterlog.job.taking.level import Counts, Level, level_of
from meterlog.reading import Accuracy, Reading
from meterlog.text.figures import shown

_TOLERANCE_COUNTS, _TOLERANCE, _TOLERANCE_SHARE = 4.0, 0.003, 0.002
"""A reading differs from the rest by more than so many counts, so many V or A, and this share of it. Guesses."""
_RESTING = 10
"""Readings that say what the rest is, and how it scatters. A guess."""
_TAIL_S = 3.0
"""A level is watched for so long after it began, s: a whole prime, and what comes and goes in it. A guess."""
_HELD_SHARE = 0.1
"""Within the tail, readings within this share of the level belong to it. A guess."""
_SHORTEST_S = 0.5
"""A pulse without three readings that agree counts from here on, s: the shortest prime."""
_LONGEST_PRIME_S = 10.0
"""The longest prime, s; both as the detectors have them."""
_RUNNING_S = 5.0
"""An engine runs once its level has held for so long, s: no starter turns longer at one level. A guess."""
_DIP_SHARE = 0.95
"""Below this share of the level before it a supply is cranked: healthy ones fall to 0.8 (makers' manuals)."""
_COMPRESSIONS_S, _LEAST_COMPRESSIONS_S, _WAVE_SHARE = 1.5, 1.2, 0.25
"""While cranking, readings of the last and at least so many seconds, s, that stay within this share of their middle are
a level: a weak battery's voltage follows each compression. Guesses."""
_SURE_COUNTS = 2.0
"""Fewer counts than these may be a probe that slipped off. A guess."""
_TIMES_KEY_ON = 3.0
"""A crank changes a dead place by more than so many times what the key alone does. A guess."""
_FELL = "It fell to nothing, as where a probe comes off: turn the key once more."
_SHORT = "It was too short for this display: turn the key once more."
_SWITCHES = {"prime": "key_on"}
_ASK = {
    "key_on": "Key on now.",
    "crank": "Key to start now.",
    "run": "Start the engine now.",
}


class LiveLevel:
    """Finds the level of one place."""

    def __init__(self, m: Measurement, sound: Expected, accuracy: Accuracy, *, primes: bool = False) -> None:
        """Begin before the first reading.

        Args:
            m: what is measured.
            sound: what a sound circuit shows there.
            accuracy: the meter's.
            primes: the circuit is one that is primed, so a pulse there is a prime.
        """
        self._state = _SWITCHES.get(m.state, m.state)
        self._sound, self._accuracy, self._primes = sound, accuracy, primes
        self._recent: deque[Reading] = deque(maxlen=STEADY)
        self._resting: deque[Reading] = deque(maxlen=_RESTING)
        self._rest: float | None = None
        self._away: list[Reading] = []
        self._caught: float | None = None
        self._doubt = ""

    @property
    def ready(self) -> str:
        """See `LevelWatch`."""
        if self._rest is None or (self._clips_on(self._rest) and self._state in _ASK):
            return ""
        return self._doubt or _ASK.get(self._state, "")

    @property
    def waiting_for(self) -> str:
        """See `LevelWatch`."""
        if self._fell:
            return "it fell to nothing: did a probe come off?"
        if self.standing is None:
            return "nothing steady yet"
        if abs(self._recent[-1].value) < NOTHING and self.counts != "soon":
            return "nothing there: do both probes touch" + ("?" if self._state == "off" else ", and is the key turned?")
        return "it has not changed" if self._state == "off" else "it has not changed: is the key turned?"

    @property
    def standing(self) -> Level | None:
        """See `LevelWatch`; nothing where the voltage that was there is gone: a probe may have come off."""
        recent = list(self._recent)
        nothing = len(recent) == STEADY and all(abs(reading.value) < NOTHING for reading in recent)  # which may flicker
        stands = (nothing or agree(recent)) and not self._fell
        return level_of(recent, self._accuracy, "as it stood") if stands else None

    @property
    def counts(self) -> Counts:
        """See `LevelWatch`."""
        small = abs(self._sound.active - self._sound.rest) < NOTHING
        something = bool(self._recent) and abs(self._recent[-1].value) >= NOTHING
        return "soon" if small and something and self._state != "crank" else "late"

    @property
    def _fell(self) -> bool:
        """Tell whether a place that has its voltage at rest had it, and has nothing now."""
        usual = abs(self._sound.rest) >= NOTHING or self._state == "crank"  # there the rest is that with the key on
        lived = self._rest is not None and abs(self._rest) >= NOTHING and usual
        return lived and bool(self._away) and not self._is_something(self._away[-1:])

    def feed(self, reading: Reading) -> Level | None:
        """See `LevelWatch`."""
        self._recent.append(reading)
        if self._caught is not None:
            return self._watch_tail(reading)
        if self._rest is None:
            return self._begin(list(self._recent))
        if abs(reading.value - self._rest) <= self._tolerance():
            over, self._away = self._away, []
            level = self._pulse(over) if over else None
            self._resting.append(reading)
            return level
        self._away.append(reading)
        self._settle()
        return None

    def _begin(self, recent: list[Reading]) -> Level | None:
        """Take the first steady level for the rest, or for the reading where it plainly is on already."""
        if not agree(recent):
            return None
        first = level_of(recent, self._accuracy).value
        if self._on_already(first):
            self._caught, self._away = first, recent
        else:
            self._rest_at(first, recent)
        return None

    def _rest_at(self, value: float, readings: list[Reading]) -> None:
        self._rest, self._away = value, []
        self._resting.clear()
        self._resting.extend(readings)

    def _on_already(self, value: float) -> bool:
        if abs(value) < NOTHING or self._state == "off":
            return abs(value) >= NOTHING  # what is less may be probes that still hang free
        rest, active = self._sound.rest, self._sound.active
        told_apart = abs(rest - active) > NOTHING and self._state != "crank"
        return told_apart and abs(value - active) < abs(value - rest)

    def _is_something(self, readings: Sequence[Reading]) -> bool:
        """Tell a level from probes that hang free, which show a few counts of either sign."""
        values = [reading.value for reading in readings]
        middle, one_side = median(values), min(values) > 0 or max(values) < 0
        return one_side and abs(middle) >= max(_SURE_COUNTS * _known(self._recent[-1].resolution), _TOLERANCE)

    def _tolerance(self) -> float:
        values = [reading.value for reading in self._resting]
        counts = _TOLERANCE_COUNTS * _known(self._recent[-1].resolution)
        return max(counts, _TOLERANCE, _TOLERANCE_SHARE * abs(self._rest or 0.0), max(values) - min(values))

    def _settle(self) -> None:
        """Look whether what is away from the rest has become a level, and which."""
        away, held_s = self._away, _RUNNING_S if self._state == "run" else 0.0
        last = [one for one in away if one.time_s >= away[-1].time_s - held_s] if held_s else away[-STEADY:]
        if self._state == "crank" and not agree(last):
            self._settle_cranking()
            return
        if not agree(last) or away[-1].time_s - away[0].time_s < held_s:
            return
        level = level_of(last, self._accuracy).value
        probe_comes = self._clips_on(self._rest or 0.0) and abs(level) >= NOTHING
        if probe_comes or (self._state == "crank" and not self._cranks(level)):
            self._rest_at(level, last)
        elif self._is_something(last):
            self._caught = level
        # else nothing at all is left: a closed contact, or a probe that slipped off; its way back tells which

    def _settle_cranking(self) -> None:
        """Take the middle of what goes up and down with the engine's compression, once it has done so for a while."""
        last = [one for one in self._away if one.time_s >= self._away[-1].time_s - _COMPRESSIONS_S]
        middle = median(one.value for one in last)
        if last[-1].time_s - last[0].time_s < _LEAST_COMPRESSIONS_S or abs(self._rest or 0.0) < NOTHING:
            return
        wave = max(abs(one.value - middle) for one in last)
        if self._is_something(last) and self._cranks(middle) and wave <= _WAVE_SHARE * abs(middle):
            self._caught, self._away = middle, last

    def _clips_on(self, rest: float) -> bool:
        """Tell whether the rest is that of a probe that still hangs free: a sound circuit has its voltage there."""
        return abs(rest) < NOTHING <= abs(self._sound.rest)

    def _cranks(self, level: float) -> bool:
        rest = abs(self._rest or 0.0)
        if max(rest, abs(self._sound.key_on)) >= NOTHING <= abs(self._sound.active):
            return abs(level) <= _DIP_SHARE * rest
        return abs(level - (self._rest or 0.0)) >= _TIMES_KEY_ON * abs(self._sound.key_on)

    def _watch_tail(self, reading: Reading) -> Level | None:
        """Go on with a level that was caught until it ends, or for as long as a prime lasts."""
        assert self._caught is not None
        near = max(_HELD_SHARE * abs(self._caught), _TOLERANCE_COUNTS * _known(reading.resolution), _TOLERANCE)
        if self._rest is not None:
            near = min(near, abs(self._caught - self._rest) / 2)  # what is nearer to the rest is on its way there
        held = abs(reading.value - self._caught) <= near
        if held:
            self._away.append(reading)
            if reading.time_s - self._away[0].time_s < _TAIL_S:
                return None
        inside = [one for one in self._away if abs(one.value - self._caught) <= near]
        if not self._is_something(inside):
            self._caught = None  # the way back to the rest tells which
            return None
        return level_of(inside, self._accuracy, "" if held or self._rest is None else self._named(inside))

    def _pulse(self, over: list[Reading]) -> Level | None:
        """Judge what came and went without three readings that agree: a prime on a slow display."""
        lasted_s = self._recent[-1].time_s - over[0].time_s
        if len(over) < 2 or lasted_s < _SHORTEST_S:
            return None
        if len(over) == 2:  # each may have averaged an edge: the one that is further away did so less
            further = max(over, key=lambda reading: abs(reading.value - (self._rest or 0.0)))
            inside = [further]
            level = level_of(inside, self._accuracy, self._named(over))
            level = level._replace(error=math.hypot(level.error, abs(over[0].value - over[1].value) / 2))
        else:
            inside = over[1:-1]
            level = level_of(inside, self._accuracy, self._named(over))
        clipped = self._clips_on(self._rest or 0.0)
        if clipped or (self._state == "crank" and not self._cranks(level.value)) or self._doubted(inside, over):
            return None
        return level

    def _doubted(self, inside: Sequence[Reading], over: Sequence[Reading]) -> bool:
        """Tell whether a pulse may be something else than what the key did: it counts when it comes again."""
        if self._doubt:
            return False
        if not self._is_something(inside):
            self._doubt = _FELL
        elif len(over) < STEADY and not agree([*over, over[-1]]):
            self._doubt = _SHORT
        return bool(self._doubt)

    def _named(self, inside: list[Reading]) -> str:
        """Return what was on and is over: it began between the last reading at rest and its own first, and ended
        likewise."""
        longest_s = self._recent[-1].time_s - self._resting[-1].time_s
        shortest_s = inside[-1].time_s - inside[0].time_s
        lasted_s, error_s = (longest_s + shortest_s) / 2, (longest_s - shortest_s) / 2
        primed = self._primes and self._state == "key_on" and lasted_s <= _LONGEST_PRIME_S
        return f"{'a prime of' if primed else 'it lasted'} {shown(lasted_s, 's', error_s)}"


def _known(resolution: float) -> float:
    return 0.0 if math.isnan(resolution) else resolution
