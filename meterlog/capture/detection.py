"""Live detection while recording, with the settings that a later analysis of the session uses."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING

from meterlog.capture.notices import Detector
from meterlog.reading import Reading
from meterlog.session import Channel, Marker

if TYPE_CHECKING:
    from meterlog.events.event import Event
    from meterlog.events.standing import Standing


def live_detection(details: Mapping[str, str]) -> Callable[[Channel], Detector]:
    """Return the maker of live detectors for a session with these details (`system_v`).

    Raises:
        LimitsError: there is no such system voltage.
    """
    from meterlog.events.live import LiveDetector
    from meterlog.limits import limits_for
    from meterlog.limits.foreign import with_foreign

    limits = limits_for(details, ())
    return lambda channel: LiveDetector(with_foreign([channel], limits)[0], limits.settings)


class LaterDetection:
    """Live detection that is imported while bytes already come: until then its detectors only keep what they get.

    Importing takes tenths of a second, more on a slow computer. A meter's thread that did it would leave the bytes
    that come meanwhile to wait, and give them the time at which it took them.
    """

    def __init__(self, details: Mapping[str, str]) -> None:
        """Nothing is imported yet."""
        self._details = details
        self._make: Callable[[Channel], Detector] | None = None

    def load(self) -> None:
        """Import it, in any thread but a meter's.

        Raises:
            LimitsError: see `live_detection`.
        """
        if self._make is None:
            self._make = live_detection(self._details)

    def __call__(self, channel: Channel) -> Detector:
        """The detector of a channel."""
        return _Later(self, channel)

    def made(self, channel: Channel) -> Detector | None:
        """The detector itself; None while it is not imported."""
        return None if self._make is None else self._make(channel)


class _Later:
    """A detector that hands on what it was given as soon as there is the one that finds."""

    def __init__(self, detection: LaterDetection, channel: Channel) -> None:
        self._detection, self._channel = detection, channel
        self._finding: Detector | None = None
        self._kept: list[Reading] = []
        self._markers: list[Marker] = []

    @property
    def standing(self) -> Standing | None:
        """Return what the circuit does; None until detection is imported."""
        return self._finding.standing if self._finding is not None else None

    def feed(self, readings: Sequence[Reading]) -> list[Event]:
        """Take readings; what is certain now."""
        if self._finding is not None:
            return self._finding.feed(readings)
        self._kept += readings
        return self._hand_on()

    def marker(self, marker: Marker) -> None:
        """Take a marker."""
        if self._finding is not None:
            self._finding.marker(marker)
        else:
            self._markers.append(marker)

    def finish(self) -> list[Event]:
        """Return what the end makes certain."""
        self._detection.load()
        events = [] if self._finding is not None else self._hand_on()
        assert self._finding is not None
        return events + self._finding.finish()

    def _hand_on(self) -> list[Event]:
        finding = self._detection.made(self._channel)
        if finding is None:
            return []
        self._finding = finding
        for marker in self._markers:
            finding.marker(marker)
        return finding.feed(self._kept)
