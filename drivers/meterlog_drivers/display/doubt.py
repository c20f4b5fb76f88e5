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
from collections.abc import Callable, Iterator, Sequence

from meterlog.reading import Flag
from meterlog_drivers.display.shown import Shown

NEAR_SHARE = 0.02
"""Readings that follow one another differ by less than this share of the value, or by `NEAR_COUNTS`, where nothing
happens; a guess. A sag begins at 10 %."""
NEAR_COUNTS = 5
"""Counts by which the last digits of a calm display flicker; a guess."""
RECENT = 8
"""Readings from which the spread of a calm signal is taken; a guess."""
FAR = 2.0
"""So many times the highest of the levels remembered, a number is far beyond them; a guess."""
SETTLED = 4
"""Readings of a level without which nothing is judged by it; a guess."""
LEVELS = 3
"""Levels of a column that are remembered, on and off for example: the first reading on one of them again may be damaged
too."""
RESTLESS = 3
"""Changes beyond that, less the calm frames since, from which on a signal is not calm and nothing is doubted."""


class _Level:
    """A stretch of calm readings of one column."""

    __slots__ = ("last", "mode", "recent", "suspect")

    def __init__(self, one: Shown) -> None:
        """Take a reading as the first of a new level."""
        self.last, self.mode = one.value, one[1:]
        self.recent = deque((one.value,), RECENT)
        self.suspect: Shown | None = None

    @property
    def settled(self) -> bool:
        """True once it has lasted long enough to tell a level from a value on the way."""
        return len(self.recent) >= SETTLED

    def take(self, one: Shown) -> None:
        """Take a reading that belongs to it."""
        self.last = one.value
        self.recent.append(one.value)
        self.suspect = None

    def goes_on(self, one: Shown) -> bool:
        """Tell whether a reading may follow where nothing happens."""
        return one[1:] == self.mode and _near(one, self.last)

    def suspected(self, one: Shown) -> bool:
        """Tell whether a reading repeats the doubtful one before it: then the change was true."""
        suspect = self.suspect
        return suspect is not None and one[1:] == suspect[1:] and _near(one, suspect.value)

    def same(self, one: Shown) -> bool:
        """Tell whether a reading lies where the readings before it did."""
        if one[1:] != self.mode or one.value == self.last:
            return one[1:] == self.mode
        low, high = min(self.recent), max(self.recent)
        room = max(NEAR_COUNTS * _count(one), high - low)
        return low - room <= one.value <= high + room


class Doubt:
    """Compares each frame with those before it.

    Args:
        parse: what a frame shows; nothing (None or empty) for what is no frame.
    """

    def __init__(self, parse: Callable[[bytes], tuple[Shown, ...] | None]) -> None:
        self._parse = parse
        self._levels: dict[int, _Level] = {}
        self._earlier: dict[int, deque[_Level]] = {}
        self._number = 0
        self._jumps = 0

    def judged(self, frame: bytes, shown: tuple[Shown, ...], number: int) -> tuple[Shown, ...]:
        """Give what a frame shows, with `Flag.DOUBTFUL` where one flipped bit would explain that it is so different.

        Args:
            frame: the frame, not the same as the one before.
            shown: what it shows.
            number: how many frames came before it; those between, of which nothing is told here, were all alike.
        """
        if (alike := number - self._number - 1) > 0:
            self._jumps = max(0, self._jumps - alike)
            for level in self._levels.values():
                level.recent.extend([level.last] * min(alike, RECENT))
        self._number = number
        for one in shown:
            present = self._levels.get(one.column)
            if present is None or not present.goes_on(one):
                return self._changed(frame, shown)
            present.take(one)
        if self._jumps:
            self._jumps -= 1
        return shown

    def _changed(self, frame: bytes, shown: tuple[Shown, ...]) -> tuple[Shown, ...]:
        levels = [self._levels.get(one.column) for one in shown]
        pairs = [(one, level) for one, level in zip(shown, levels, strict=True) if level is not None]
        fresh = [(one, level) for one, level in pairs if not level.goes_on(one)]
        known = self._before(shown)
        again = bool(fresh) and all(level.suspected(one) for one, level in fresh)
        if self._levels and not known and not again and self._jumps < RESTLESS and self._explained(frame, shown):
            for one, level in pairs:
                level.suspect = one
            return tuple(one._replace(flags=one.flags | Flag.DOUBTFUL) for one in shown)
        for one in shown:
            self._move(one)
        if not known:
            self._jumps = min(self._jumps + 1, 2 * RESTLESS)
        return shown

    def _move(self, one: Shown) -> None:
        """Go on with the level that a reading belongs to: the present one, an earlier one, or a new one."""
        level = self._levels.get(one.column)
        if level is not None and level.goes_on(one):
            level.take(one)
            return
        earlier = self._earlier.setdefault(one.column, deque(maxlen=LEVELS - 1))
        found = next((old for old in earlier if old.same(one)), None)
        if found is not None:
            earlier.remove(found)
            found.take(one)
        if level is not None and level.settled:
            earlier.append(level)
        self._levels[one.column] = found or _Level(one)

    def _explained(self, frame: bytes, shown: tuple[Shown, ...]) -> bool:
        """Tell whether one flipped bit turns the frame into one that shows what was shown before; or the same number
        as now in the mode that was shown before; or, of a number far beyond all, one that is not."""
        damaged = bytearray(frame)
        for place in range(len(damaged)):
            right = damaged[place]
            for bit in (1, 2, 4, 8, 16, 32, 64, 128):
                damaged[place] = right ^ bit
                other = self._parse(bytes(damaged))
                if other and (self._before(other) or self._same_number(other, shown) or self._less_far(other, shown)):
                    return True
            damaged[place] = right
        return False

    def _same_number(self, other: tuple[Shown, ...], shown: tuple[Shown, ...]) -> bool:
        """Tell whether only symbols were flipped; not where a bit without a meaning was."""
        numbers = [(one.value, one.resolution) for one in other]
        if other == shown or numbers != [(one.value, one.resolution) for one in shown]:
            return False
        return all(any(one[1:] == level.mode for level in self._remembered(one.column)) for one in other)

    def _less_far(self, other: tuple[Shown, ...], shown: tuple[Shown, ...]) -> bool:
        """Tell whether a number beyond all that was shown becomes one that is not: it was damaged while it changed."""
        if len(other) != len(shown):
            return False
        for one, now in zip(other, shown, strict=True):
            level = self._levels.get(one.column)
            if level is None or one[1:] != level.mode:
                return False
            remembered = (abs(value) for known in self._remembered(one.column) for value in known.recent)
            most = max(remembered, default=math.inf)
            if not (FAR * most < abs(now.value) < math.inf and abs(one.value) <= most):
                return False
        return True

    def _before(self, shown: Sequence[Shown]) -> bool:
        """Tell whether all of it lies where earlier readings did."""
        return bool(shown) and all(any(level.same(one) for level in self._remembered(one.column)) for one in shown)

    def _remembered(self, column: int) -> Iterator[_Level]:
        """The levels of a column that lasted long enough to tell anything by them."""
        if (level := self._levels.get(column)) is not None and level.settled:
            yield level
        yield from self._earlier.get(column, ())


def _count(one: Shown) -> float:
    return 0.0 if math.isnan(one.resolution) else one.resolution


def _near(one: Shown, value: float) -> bool:
    """Tell whether a value may follow another where nothing happens; overload follows overload."""
    if one.value == value:
        return True
    return abs(one.value - value) <= max(NEAR_SHARE * abs(value), NEAR_COUNTS * _count(one)) < math.inf
