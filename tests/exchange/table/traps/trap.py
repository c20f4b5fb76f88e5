"""A file with a trap in it, and what must come out: stated beside the file, never computed by the product."""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import dataclass, field

ROWS = 24
"""Rows of a usual trap file: more than what any look at the first few sees, still quick."""


@dataclass(frozen=True, slots=True)
class Channel:
    """A channel that must come out.

    Attributes:
        label: its label.
        quantity: its quantity.
        time_s: the times, s from the session's start.
        value: the values in the quantity's unit.
    """

    label: str
    quantity: str
    time_s: Sequence[float]
    value: Sequence[float]


@dataclass(frozen=True, slots=True)
class Trap:
    """A file and its truth.

    Attributes:
        name: what the trap is.
        data: the file.
        channels: what must come out; of the first session, where there are more.
        markers: times and names of the markers that must come out.
        asked: a pattern of the sentence that must be among the doubts, where only a person can know; else nothing may
            be in doubt.
        answer: the options that answer it.
        suffix: of the file's name.
        sessions: how many sessions come out.
    """

    name: str
    data: bytes
    channels: Sequence[Channel]
    markers: Sequence[tuple[float, str]] = ()
    asked: str = ""
    answer: Sequence[str] = ()
    suffix: str = ".csv"
    sessions: int = 1
    tolerance_s: float = field(default=1.1e-6)


class Truth:
    """Values of a supply and times of an even log, from a seed; texts are made of whole numbers, so nothing is rounded.

    Attributes:
        millivolts: the values.
        milliseconds: the times.
    """

    def __init__(self, seed: int, rows: int = ROWS, step_ms: int = 500) -> None:
        rng = random.Random(seed)
        self.millivolts = [12_000 + rng.randrange(1, 999) for _ in range(rows)]
        self.milliseconds = [i * step_ms for i in range(rows)]

    @property
    def time_s(self) -> list[float]:
        """Seconds."""
        return [ms / 1000 for ms in self.milliseconds]

    @property
    def volts(self) -> list[float]:
        """Volts."""
        return [mv / 1000 for mv in self.millivolts]

    def channel(self, label: str = "U", quantity: str = "dc_voltage") -> Channel:
        """The channel that it is."""
        return Channel(label, quantity, self.time_s, self.volts)


def thousandths(number: int, mark: str = ".") -> str:
    """A whole number of thousandths as a decimal number, written by hand."""
    sign = "-" if number < 0 else ""
    return f"{sign}{abs(number) // 1000}{mark}{abs(number) % 1000:03d}"


def clock(ms: int, mark: str = ".", hour: int = 10) -> str:
    """Milliseconds after an hour of the day, written by hand."""
    seconds, part = divmod(ms, 1000)
    return f"{hour + seconds // 3600:02d}:{seconds // 60 % 60:02d}:{seconds % 60:02d}{mark}{part:03d}"
