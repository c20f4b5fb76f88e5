"""The windows of an armed capture while it records: when one opens, when it is over, and what markers say of it."""

from __future__ import annotations

from typing import Protocol

from meterlog.capture.channels import LiveChannel
from meterlog.capture.trigger import ArmedCapture
from meterlog.condition import WAITING_FOR, Condition
from meterlog.reading import Reading
from meterlog.session.model import ARMED, TRIGGERED

LATE_S = 0.5
"""Longest delay of a window's last readings after its end, s (a guess: links bundle up to that)."""


class Announce(Protocol):
    """Sets one of the capture's own markers, and tells of it."""

    def __call__(self, at_s: float, marker: str, text: str, channel: LiveChannel | None = None) -> None:
        """Do so, at `at_s` from the session's start."""
        ...


class ArmedWindows:
    """Keeps an armed capture's books. All times but the readings' are from the session's start. Not thread-safe.

    Attributes:
        waiting: whether it waits for its condition, with no window open.
    """

    def __init__(self, armed: ArmedCapture, wanted: int | None, start_s: float, announce: Announce) -> None:
        """Prepare; `wait` begins.

        Args:
            armed: decides what is kept.
            wanted: complete after so many windows; None: never.
            start_s: the session's time 0 on the readings' clock, s.
            announce: called when waiting begins and when the condition comes true.
        """
        self.waiting = False
        self._armed, self._wanted, self._start_s, self._announce = armed, wanted, start_s, announce

    @property
    def condition(self) -> Condition:
        """The condition it waits for."""
        return self._armed.condition

    @property
    def fired(self) -> int:
        """The number of times the condition came true."""
        return self._armed.fired

    def add_channel(self, channel: LiveChannel) -> None:
        """Watch a channel, where the condition concerns it."""
        self._armed.add_channel(channel.number, channel.label, channel.quantity)

    def wait(self, at_s: float) -> None:
        """Begin to wait. The marker tells readers of the session that what is missing from here was not wanted."""
        self.waiting = True
        self._announce(at_s, ARMED, f"{WAITING_FOR}{self._armed.condition.text}")

    def take(self, channel: LiveChannel, readings: list[Reading]) -> dict[int, list[Reading]]:
        """Take readings of a channel; the readings to keep now, by channel."""
        keep, firings = self._armed.take(channel.number, readings)
        for firing in firings:
            self.waiting = False
            text = f"{self._armed.condition.text} on {channel.label}: {firing.value:g} {channel.quantity.unit}"
            self._announce(firing.time_s - self._start_s, TRIGGERED, text, channel)
        return keep

    def open(self, at_s: float) -> dict[int, list[Reading]]:
        """Open a window round a person's marker; the readings to keep now, by channel."""
        self.waiting = False
        return self._armed.open_window(at_s + self._start_s)

    def close(self, now_s: float) -> bool:
        """End a window whose last readings must have come, and wait again; True when that was the last one wanted."""
        until_s = self._armed.until_s - self._start_s
        if self.waiting or now_s <= until_s + LATE_S:
            return False
        if self._wanted is not None and self._armed.fired >= self._wanted:
            return True
        self.wait(until_s)
        return False

    def rest(self) -> dict[int, list[Reading]]:
        """Return what memory holds at the end of a wait in vain, by channel."""
        return self._armed.rest()
