"""The condition of an armed capture, as a person types it: `rise 6V`, `below 9.6 V on battery`, `open`."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

from meterlog.errors import UsageError
from meterlog.events.event import Event
from meterlog.reading import Quantity
from meterlog.session.model import Marker
from meterlog.text.typed import typed_amount

_CONDITION = re.compile(r"(?P<kind>[a-z]+)(?:\s+(?P<level>[-+.,\d].*?))?(?:\s+on\s+(?P<channel>.+))?")
_LEVEL_KINDS = ("rise", "fall", "above", "below")
_CONTACT_KINDS = ("open", "closed")
_CONTACT_QUANTITIES = (Quantity.RESISTANCE, Quantity.CONTINUITY, Quantity.DIODE)

WAITING_FOR = "waiting for "
"""The beginning of the note of the marker `armed`; the condition follows as it was typed."""


@dataclass(frozen=True, slots=True)
class Condition:
    """The condition that an armed capture waits for.

    Attributes:
        kind: `rise` or `fall`: from one side of the level to the other. `above` or `below`: beyond the level,
            from the first reading on. `open` or `closed`: overload after a finite reading on ohms, continuity or
            diode, and the other way round.
        level: in the unit; 0 for `open` and `closed`.
        unit: only channels in this unit are watched; empty: every channel.
        channel: only the channel of this label or number is watched; empty: every channel.
        text: as typed.
    """

    kind: str
    level: float
    unit: str
    channel: str
    text: str

    @classmethod
    def parse(cls, text: str) -> Condition:
        """Understand `rise 6V`, `below 9.6 V on battery`, `above 500mA`, `open`, ...

        Raises:
            UsageError: it cannot be understood.
        """
        match = _CONDITION.fullmatch(" ".join(text.split()))
        kind = match["kind"] if match else ""
        if match is None or kind not in _LEVEL_KINDS + _CONTACT_KINDS:
            raise UsageError(
                f"'{text}' is not a condition: write rise 6V, fall 9V, above 14.8V, below 9.6V, open or"
                " closed; for one channel of several, rise 6V on feed"
            )
        channel = (match["channel"] or "").strip()
        if kind in _CONTACT_KINDS:
            if match["level"]:
                raise UsageError(f"in '{text}' no level belongs after {kind}")
            return cls(kind, 0.0, "", channel, text.strip())
        if not match["level"]:
            raise UsageError(f"'{text}' wants a level, for example {kind} 6V")
        level, unit = typed_amount(match["level"])
        return cls(kind, level, unit, channel, text.strip())

    @property
    def of_contact(self) -> bool:
        """Tell whether it is about a contact that opens or closes, and not about a level."""
        return self.kind in _CONTACT_KINDS

    def catches(self, event: Event) -> bool:
        """Tell whether an event of the analyzer, on a channel that is watched, would have come with this coming
        true."""
        if self.kind == "open":
            return event.kind == "open_circuit"
        lowest = event.extreme
        return self.kind in ("fall", "below") and lowest is not None and lowest <= self.level

    def concerns(self, number: int, label: str, quantity: Quantity) -> bool:
        """Tell whether a channel is watched for this."""
        if self.channel and self.channel.lower() not in (label.lower(), str(number)):
            return False
        if self.of_contact:
            return quantity in _CONTACT_QUANTITIES
        return not self.unit or quantity.unit == self.unit


def waited_for(markers: Iterable[Marker]) -> Condition | None:
    """Return what the armed capture of a session waited for, by the marker that it set; None where there was none."""
    for marker in markers:
        if marker.ends_recording and marker.note.startswith(WAITING_FOR):
            try:
                return Condition.parse(marker.note.removeprefix(WAITING_FOR))
            except UsageError:  # somebody else's session, of another version
                return None
    return None
