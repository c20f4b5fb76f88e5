"""Finds events while a recording goes on: a live detector for each channel, and what they have found so far."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from meterlog.capture.notices import Detector
from meterlog.dial import elsewhere
from meterlog.events import Event
from meterlog.events.standing import Standing
from meterlog.kinds import KINDS
from meterlog.reading import Quantity, Reading
from meterlog.session import Channel, Marker


class LiveEvents:
    """The live detectors of a recording. Not thread-safe.

    Attributes:
        found: all events so far, as they were found.
    """

    def __init__(self, make: Callable[[Channel], Detector] | None) -> None:
        """Begin without any channel; `make` gives the detector of one. Without it nothing is ever found."""
        self.found: list[Event] = []
        self._make = make
        self._detectors: dict[int, Detector] = {}
        self._left: dict[int, Quantity] = {}

    def add_channel(self, channel: Channel) -> None:
        """Watch a channel from now on."""
        if self._make is not None:
            self._detectors[channel.number] = self._make(channel)

    def feed(self, number: int, readings: Sequence[Reading], start_s: float) -> list[Event]:
        """Take a channel's readings, timed by the clock that read `start_s` at the session's start.

        Returns:
            The events that are certain now.
        """
        detector = self._detectors.get(number)
        if detector is None:
            return []
        events = detector.feed([reading._replace(time_s=reading.time_s - start_s) for reading in readings])
        if events and number in self._left:
            events = [elsewhere(event, self._left[number]) if event.kind == "gap" else event for event in events]
        self._left.pop(number, None)
        self.found += events
        return events

    def standing(self, number: int) -> Standing | None:
        """Return what a channel's circuit does now; None where that is not known."""
        detector = self._detectors.get(number)
        return detector.standing if detector is not None else None

    def dial_left(self, number: int, quantity: Quantity) -> None:
        """Note that a channel's meter shows another quantity from now on, so that its silence is no lost link."""
        self._left[number] = quantity

    def marker(self, marker: Marker) -> None:
        """Take a marker."""
        for detector in self._detectors.values():
            detector.marker(marker)

    def finish(self) -> list[tuple[int, Event]]:
        """Return what the end makes certain, each with its channel's number."""
        last = [(number, event) for number, detector in self._detectors.items() for event in detector.finish()]
        self.found += [event for _, event in last]
        return last

    @property
    def count(self) -> int:
        """The number of events about the circuit: those about the readings end no recording."""
        return sum(KINDS[event.kind].about_circuit for event in self.found)
