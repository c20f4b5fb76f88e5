"""A session in memory, filled by hand, and judged."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from meterlog.events import Event
from meterlog.events.detect import examine
from meterlog.findings import Finding, findings
from meterlog.limits import Limits, load_limits
from meterlog.reading import Accuracy, Flag, Quantity
from meterlog.series import Series
from meterlog.session.contents import Contents
from meterlog.session.model import ARMED, CAPTURE, Channel, Marker

USUAL = Accuracy()

_HEDGES = re.compile(
    r"\b(may|might|perhaps|possibly|unless|legitimately|by design|reads the same|either)\b"
    r"|\bif (it|nobody|the engine)\b|\?",
    re.IGNORECASE,
)
_WORSE = re.compile(r"the true lowest (value|voltage) may be lower", re.IGNORECASE)
"""Finds what is said to be worse than it reads, which is no other explanation."""


def names_another_explanation(text: str) -> bool:
    """Tell whether a sentence says that something else may have done it."""
    return bool(_HEDGES.search(_WORSE.sub("", text)))


class Bench:
    """A session in memory: add channels, events and markers, then judge."""

    def __init__(self) -> None:
        self.channels: list[Channel] = []
        self.markers: list[Marker] = []
        self.details: dict[str, str] = {}
        self.events: list[Event] = []
        self.limits: Limits = load_limits(system_v=12.0)
        self._series: dict[int, Series] = {}

    @property
    def duration_s(self) -> float:
        """The last reading's time."""
        return max(float(s.time_s[-1]) for s in self._series.values())

    def series(self, channel: int) -> Series:
        """The readings of a channel."""
        return self._series[channel]

    def channel(
        self,
        label: str,
        value: Callable[[NDArray[np.float64]], NDArray[np.float64]] | float,
        *,
        length_s: float = 60.0,
        interval_s: float = 0.25,
        start_s: float = 0.0,
        quantity: Quantity = Quantity.DC_VOLTAGE,
        resolution: float = 0.01,
        flags: Flag = Flag.NONE,
        accuracy: Accuracy = USUAL,
        driver: str = "text",
    ) -> int:
        """Add a channel whose values are a function of time, or one number; its number."""
        number = len(self.channels) + 1
        time_s = start_s + np.arange(0.0, length_s, interval_s)
        values = value(time_s) if callable(value) else np.full(len(time_s), value)
        shown = np.round(values / resolution) * resolution
        count = np.full(len(time_s), resolution, np.float32)
        self._series[number] = Series(time_s, shown, count, np.full(len(time_s), flags, np.uint16))
        self.channels.append(Channel(number, label, quantity, accuracy=accuracy, driver=driver))
        return number

    def mark(self, name: str, *times_s: float) -> None:
        """Add markers of one name."""
        for time_s in times_s:
            self.markers.append(Marker(len(self.markers) + 1, time_s, name))

    def armed(self, time_s: float, condition: str) -> None:
        """Add the marker of an armed capture that begins to wait."""
        self.markers.append(Marker(len(self.markers) + 1, time_s, ARMED, f"waiting for {condition}", CAPTURE))

    def retime(self, channel: int, time_s: NDArray[np.float64]) -> None:
        """Give the readings of a channel other times, shape (n,)."""
        self._series[channel] = replace(self._series[channel], time_s=time_s)

    def event(
        self,
        kind: str,
        channel: int,
        start_s: float,
        end_s: float,
        *,
        level: float | None = None,
        extreme: float | None = None,
        reference: float | None = None,
        ended: bool = True,
        detail: str = "",
    ) -> None:
        """Add what the analyzer found; where it has not ended it has no duration."""
        duration_s, error_s = (end_s - start_s, 0.25) if ended else (None, None)
        self.events.append(Event(kind, channel, start_s, end_s, duration_s, error_s, level, extreme, reference, detail))

    def judge(self, holding: str) -> Finding:
        """The one finding whose text holds these words."""
        found = [f for f in self.all() if holding in f.text]
        assert len(found) == 1, [f.text for f in self.all()]
        return found[0]

    def all(self) -> list[Finding]:
        """All findings."""
        session = Contents(self._series, self.channels, self.markers, self.details, duration_s=self.duration_s)
        watches = {
            channel.number: examine(channel, self._series[channel.number], self.markers, self.limits.settings).watch
            for channel in self.channels
        }
        found = findings(session, self.events, self.limits, watches)
        doubted = [one.text for one in found if one.verdict == "outside" and names_another_explanation(one.text)]
        assert not doubted
        return found


@pytest.fixture
def bench() -> Bench:
    """An empty session in memory."""
    return Bench()
