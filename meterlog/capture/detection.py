"""Live detection while recording, with the settings that a later analysis of the session uses."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from meterlog.capture.notices import Detector
from meterlog.session import Channel


def live_detection(details: Mapping[str, str]) -> Callable[[Channel], Detector]:
    """What makes the live detector of a channel, for a session with these details (`system_v`).

    Raises:
        LimitsError: there is no set of limits for that system voltage.
    """
    from meterlog.events.live import LiveDetector
    from meterlog.limits import limits_for

    settings = limits_for(details, ()).settings
    return lambda channel: LiveDetector(channel, settings)
