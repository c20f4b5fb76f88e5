"""The messages of a recorder: notices while it runs, the outcome at its end; and the live detector it asks."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Literal, Protocol

from meterlog.driver import Traffic
from meterlog.errors import MeterlogError
from meterlog.events import Event
from meterlog.events.standing import Standing
from meterlog.reading import Quantity, Reading
from meterlog.session import Marker


class Detector(Protocol):
    """Finds events while readings come: `meterlog.events.live.LiveDetector`. Times from the session's start."""

    @property
    def standing(self) -> Standing | None:
        """Return what the circuit does after the last reading; None before that is known."""
        ...

    def feed(self, readings: Sequence[Reading]) -> list[Event]:
        """Take readings; return what is certain now."""
        ...

    def marker(self, marker: Marker) -> None:
        """Take a marker."""
        ...

    def finish(self) -> list[Event]:
        """Return what the end makes certain."""
        ...


@dataclass(frozen=True, slots=True)
class Notice:
    """Something that happened while recording.

    Attributes:
        kind: `channel`: a meter shows a quantity for the first time. `dial`: it shows another than before.
            `link`: a meter came or went. `waiting`: a meter has not said anything yet, or an armed capture watches
            none of the channels. `event`: found live. `marker`: set by someone. `capture`: an armed capture began to
            wait, or its condition came true. `clock`: the computer's was set. `end`: the recording ends by itself.
        time_s: from the session's start, s.
        text: one plain sentence.
        channel: its number, where it concerns one.
        quantity: of that channel.
        event: the event.
    """

    kind: Literal["channel", "dial", "link", "waiting", "event", "marker", "capture", "clock", "end"]
    time_s: float
    text: str
    channel: int | None = None
    quantity: Quantity | None = None
    event: Event | None = None


@dataclass(frozen=True, slots=True)
class Outcome:
    """The outcome of a recording.

    Attributes:
        path: the session; None where there was no reading and so no file is left.
        readings: how many are in it.
        captures: how often an armed capture's condition came true.
        events: the events found live.
        traffic: what each meter's link carried.
        raw: the raw captures that were kept.
        failed: why nothing more came from a meter, by its number, while the others went on.
        error: why it failed; None where it did not.
    """

    path: Path | None
    readings: int
    captures: int
    events: list[Event]
    traffic: list[Traffic]
    raw: list[Path]
    failed: dict[int, MeterlogError]
    error: MeterlogError | None
