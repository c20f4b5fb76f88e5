"""Armed capture: watches for a condition, and keeps what came shortly before it as well as what follows."""

from __future__ import annotations

import math
from collections import deque
from typing import NamedTuple

from meterlog.condition import Condition
from meterlog.errors import UsageError
from meterlog.reading import Flag, Quantity, Reading

BEFORE_S, AFTER_S = 5.0, 10.0
"""Kept before and after a firing unless asked otherwise, s: holds a prime of 2 s and what surrounds it (a guess)."""


class ConditionWatch:
    """Watches one channel for a condition."""

    def __init__(self, condition: Condition) -> None:
        """Nothing seen yet."""
        self._condition = condition
        self._before: bool | None = None  # whether the last reading was beyond the level

    def sees(self, reading: Reading) -> bool:
        """Take the next reading; whether the condition comes true with it."""
        if math.isnan(reading.value):
            return False
        kind, level = self._condition.kind, self._condition.level
        if self._condition.of_contact:
            beyond = bool(reading.flags & Flag.OVERLOAD) == (kind == "open")
        elif kind in ("rise", "above"):
            beyond = reading.value >= level
        else:
            beyond = reading.value <= level
        before, self._before = self._before, beyond
        if before is None:
            return beyond and kind in ("above", "below")
        return beyond and not before


LATE_MARKER_S = 1.0
"""Longest delay, s, of a marker that an armed capture keeps readings around without loss: one from another process is
noticed at the next commit (0.2 s), one with text once the text is typed (a guess)."""


class Firing(NamedTuple):
    """A condition that came true.

    Attributes:
        time_s: the reading's time, on the monotonic clock, s.
        channel: on which channel.
        value: the reading's value.
    """

    time_s: float
    channel: int
    value: float


class ArmedCapture:
    """Holds readings back, and lets through those within `before_s` before and `after_s` after each firing.

    All channels are let through together. Within the window of a firing a further one changes nothing; in that of a
    marker it counts, for the marker may have come long before. A reading that is not let through is forgotten after
    `before_s` and `LATE_MARKER_S`.
    """

    def __init__(self, condition: Condition, before_s: float = BEFORE_S, after_s: float = AFTER_S) -> None:
        """Wait for a condition.

        Raises:
            UsageError: a time is negative, or both are 0.
        """
        if before_s < 0 or after_s < 0 or before_s + after_s == 0:
            raise UsageError("the times to keep before and after a trigger must not be negative, nor both 0")
        self.condition, self.before_s, self.after_s = condition, before_s, after_s
        self.fired = 0
        self._watches: dict[int, ConditionWatch | None] = {}
        self._memory: dict[int, deque[Reading]] = {}
        self._from_s = self._until_s = self._fired_until_s = -math.inf

    @property
    def until_s(self) -> float:
        """The end of the window that was opened last, on the monotonic clock; -inf where there was none."""
        return self._until_s

    def add_channel(self, number: int, label: str, quantity: Quantity) -> None:
        """Watch a channel, where the condition concerns it."""
        watched = self.condition.concerns(number, label, quantity)
        self._watches[number] = ConditionWatch(self.condition) if watched else None
        self._memory[number] = deque()

    def take(self, channel: int, readings: list[Reading]) -> tuple[dict[int, list[Reading]], list[Firing]]:
        """Take readings of a channel.

        Returns:
            The readings to keep now, by channel, those from memory first; and what came true.
        """
        keep: dict[int, list[Reading]] = {}
        firings: list[Firing] = []
        watch, memory = self._watches[channel], self._memory[channel]
        for reading in readings:
            fires = watch is not None and watch.sees(reading)
            if fires and reading.time_s > self._fired_until_s:
                self.fired += 1
                self._fired_until_s = reading.time_s + self.after_s
                firings.append(Firing(reading.time_s, channel, reading.value))
                _merge(keep, self.open_window(reading.time_s))
            if self._from_s <= reading.time_s <= self._until_s:
                keep.setdefault(channel, []).append(reading)
                continue
            memory.append(reading)
            while memory[0].time_s < reading.time_s - self.before_s - LATE_MARKER_S:
                memory.popleft()
        return keep, firings

    def open_window(self, time_s: float) -> dict[int, list[Reading]]:
        """Keep what is round this moment; the readings from memory that belong to it, by channel."""
        if time_s - self.before_s > self._until_s:  # else one window grows out of the other
            self._from_s = time_s - self.before_s
        self._until_s = max(self._until_s, time_s + self.after_s)
        keep: dict[int, list[Reading]] = {}
        for channel, memory in self._memory.items():
            inside = [reading for reading in memory if self._from_s <= reading.time_s <= self._until_s]
            later = [reading for reading in memory if reading.time_s > self._until_s]
            memory.clear()
            memory.extend(later)
            if inside:
                keep[channel] = inside
        return keep

    def rest(self) -> dict[int, list[Reading]]:
        """Return the last readings in memory, by channel, when the wait ended in vain."""
        rest = {}
        for channel, memory in self._memory.items():
            if memory:
                rest[channel] = [one for one in memory if one.time_s >= memory[-1].time_s - self.before_s]
            memory.clear()
        return rest


def _merge(into: dict[int, list[Reading]], more: dict[int, list[Reading]]) -> None:
    for channel, readings in more.items():
        into.setdefault(channel, []).extend(readings)
