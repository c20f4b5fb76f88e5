"""What the analyzer finds: one detector a file, and the list of them."""

from meterlog.events.event import KINDS, Event

__all__ = ["KINDS", "Event"]
