"""Marks readings that one flipped bit of their frame would explain, so that none of them decides anything alone.

No framing here has a checksum: a flipped bit makes of 12.34 V another frame that the meter could have sent, 92.34 V.
What tells it is that with one bit flipped back the frame shows just what the frames before it showed. Such a reading is
kept with `Flag.DOUBTFUL`; whether the next reading confirms it is judged where events are looked for
(`meterlog.events.doubtful`), so that a reading is neither held back nor changed here.

A supply that truly falls for one reading is seldom a flipped bit away from what it was: 0.00 V is five bits away from
12.34 V in ASCII digits. `python -m tests.bench.bitflips` says how often each is mistaken for the other.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Callable, Sequence

from meterlog.reading import Flag
from meterlog_drivers.shown import Shown

NEAR_SHARE = 0.02
"""Readings that follow one another differ by less than this share of the value, or by `NEAR_COUNTS`, where nothing
happens; a guess. A sag begins at 10 %."""
NEAR_COUNTS = 5
RECENT = 8
"""Readings from which the spread of a calm signal is taken; a guess."""
RESTLESS = 3
"""Changes beyond that, each of the last few readings one, after which a signal is not calm: nothing is doubted then."""


class _Level:
    """What a column shows, as long as that is calm."""

    __slots__ = ("jumps", "last", "mode", "recent", "suspect")

    def __init__(self, one: Shown) -> None:
        self.jumps = 0
        self.suspect: Shown | None = None
        self.begin(one)

    def begin(self, one: Shown) -> None:
        """Take a reading as the first of a new level."""
        self.last, self.mode = one.value, one[1:]
        self.recent = deque((one.value,), RECENT)

    def same(self, one: Shown) -> bool:
        """Whether a reading lies where the readings before it did, as far as they tell."""
        if one[1:] != self.mode or one.value == self.last:
            return one[1:] == self.mode
        low, high = min(self.recent), max(self.recent)
        least = NEAR_COUNTS * _count(one)
        room = max(least, high - low) if len(self.recent) >= RECENT // 2 else max(least, NEAR_SHARE * abs(self.last))
        return low - room <= one.value <= high + room


class Doubt:
    """Compares each frame with those before it.

    Args:
        parse: what a frame shows; nothing (None or empty) for what is no frame.
    """

    def __init__(self, parse: Callable[[bytes], tuple[Shown, ...] | None]) -> None:
        self._parse = parse
        self._levels: dict[int, _Level] = {}

    def judged(self, frame: bytes, shown: tuple[Shown, ...]) -> tuple[Shown, ...]:
        """What a frame shows, with `Flag.DOUBTFUL` where one flipped bit would explain that it is so different.

        Call it for each frame that is not the same as the one before.
        """
        changed = False
        for one in shown:
            level = self._levels.get(one.column)
            if level is None or one[1:] != level.mode or not _near(one, level.last):
                changed = True
            else:
                level.last = one.value
                level.recent.append(one.value)
                level.suspect = None
                if level.jumps:
                    level.jumps -= 1
        return self._changed(frame, shown) if changed else shown

    def _changed(self, frame: bytes, shown: tuple[Shown, ...]) -> tuple[Shown, ...]:
        levels = [self._levels.get(one.column) for one in shown]
        known = [level for level in levels if level is not None]
        confirmed = all(
            level.suspect is not None and one[1:] == level.suspect[1:] and _near(one, level.suspect.value)
            for one, level in zip(shown, levels, strict=True)
            if level is not None and not (one[1:] == level.mode and _near(one, level.last))
        )
        calm = all(level.jumps < RESTLESS for level in self._levels.values())
        if self._levels and calm and not (known and confirmed) and self._explained(frame):
            for one, level in zip(shown, levels, strict=True):
                if level is not None:
                    level.suspect = one
            return tuple(one._replace(flags=one.flags | Flag.DOUBTFUL) for one in shown)
        for one, level in zip(shown, levels, strict=True):
            if level is None:
                self._levels[one.column] = _Level(one)
            elif not (one[1:] == level.mode and _near(one, level.last)):
                level.begin(one)
                level.suspect = None
                level.jumps = min(level.jumps + 1, 2 * RESTLESS)
        return shown

    def _explained(self, frame: bytes) -> bool:
        """Whether one flipped bit makes of the frame one that shows what was shown before."""
        damaged = bytearray(frame)
        for place in range(len(damaged)):
            right = damaged[place]
            for bit in (1, 2, 4, 8, 16, 32, 64, 128):
                damaged[place] = right ^ bit
                if self._before(self._parse(bytes(damaged)) or ()):
                    return True
            damaged[place] = right
        return False

    def _before(self, shown: Sequence[Shown]) -> bool:
        """Whether all of it lies where the readings before did."""
        levels = [self._levels.get(one.column) for one in shown]
        return bool(levels) and all(
            level is not None and level.same(one) for one, level in zip(shown, levels, strict=True)
        )


def _count(one: Shown) -> float:
    return 0.0 if math.isnan(one.resolution) else one.resolution


def _near(one: Shown, value: float) -> bool:
    """Whether a value is what might follow on another where nothing happens; overload follows on overload."""
    if one.value == value:
        return True
    return abs(one.value - value) <= max(NEAR_SHARE * abs(value), NEAR_COUNTS * _count(one)) < math.inf
