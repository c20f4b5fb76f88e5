"""What the analyzer finds: one detector a file, and the list of them."""

from meterlog.events.event import Event
from meterlog.events.settings import DetectionSettings

__all__ = ["DetectionSettings", "Event"]
