"""Detectors: one a file, and the machinery that runs them live and afterwards."""

from meterlog.events.event import Event
from meterlog.events.settings import DetectionSettings

__all__ = ["DetectionSettings", "Event"]
