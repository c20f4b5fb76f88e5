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
    from meterlog.limits import load_limits

    settings = load_limits(system_v=system_volts(details)).settings
    return lambda channel: LiveDetector(channel, settings)


def system_volts(details: Mapping[str, str]) -> float | None:
    """The vehicle's system voltage as entered, V; None where it was not, or is no number."""
    try:
        return float(details["system_v"])
    except (KeyError, ValueError):
        return None
