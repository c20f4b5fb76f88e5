"""Tells when a meter's dial was turned: it shows another quantity from then on, which is a channel of its own."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace

from meterlog.events.event import Event
from meterlog.reading import Quantity
from meterlog.series import Series
from meterlog.session.model import Channel
from meterlog.text.figures import wait

_BY_TURNS = 0.2
"""More changes than this share of the readings are a meter that shows two quantities by turns: a guess."""


@dataclass(frozen=True, slots=True)
class Turn:
    """A turn of the dial.

    Attributes:
        time_s: the first reading of the new quantity, s from the session's start.
        before_s: the last reading of the old one, s.
        channel: the channel that begins or goes on with it.
        left: the channel that it leaves.
        quantity: what is measured from then on.
        label: what the person calls the meter.
    """

    time_s: float
    before_s: float
    channel: int
    left: int
    quantity: Quantity
    label: str

    @property
    def words(self) -> str:
        """As a sentence without its time."""
        return turned_to(self.quantity)

    def explains(self, event: Event) -> bool:
        """Tell whether a gap is only the time that the dial stood elsewhere."""
        return event.kind == "gap" and event.channel == self.left and event.start_s <= self.time_s <= event.end_s


def turned_to(quantity: Quantity) -> str:
    """Say that the dial was turned."""
    return f"the dial was turned to {quantity.words}"


def elsewhere(event: Event, quantity: Quantity) -> Event:
    """Return a gap as what it is: the dial stood elsewhere, at first on `quantity`."""
    lasting = wait(event.end_s - event.start_s)
    return replace(event, detail=f"no readings for {lasting}: {turned_to(quantity)} meanwhile")


def explained(events: Iterable[Event], found: Sequence[Turn]) -> list[Event]:
    """Return the events, with the gaps that are turns of the dial said so."""
    told = []
    for event in events:
        turn = next((turn for turn in found if turn.explains(event)), None) if event.kind == "gap" else None
        told.append(elsewhere(event, turn.quantity) if turn else event)
    return told


def turns(channels: Sequence[Channel], read: Callable[[int], Series]) -> list[Turn]:
    """The turns of every meter's dial, in time order.

    Args:
        channels: the session's; those of one address and label are one meter's.
        read: gives a channel's readings.
    """
    meters: dict[tuple[str, str], list[Channel]] = {}
    for channel in channels:
        if len(read(channel.number)):
            meters.setdefault((channel.address, channel.label), []).append(channel)
    found = [turn for own in meters.values() if len(own) > 1 for turn in _of_meter(own, read)]
    return sorted(found, key=lambda turn: turn.time_s)


def _of_meter(channels: list[Channel], read: Callable[[int], Series]) -> list[Turn]:
    if len({channel.quantity for channel in channels}) < len(channels) or not channels[0].address:
        return []
    import numpy as np  # the recorder only wants the words

    time_s = np.concatenate([read(channel.number).time_s for channel in channels])
    whose = np.repeat(np.arange(len(channels)), [len(read(channel.number)) for channel in channels])
    order = np.argsort(time_s, kind="stable")
    time_s, whose = time_s[order], whose[order]
    changes = np.flatnonzero(np.diff(whose)) + 1
    if len(changes) > _BY_TURNS * len(time_s):
        return []
    return [
        Turn(
            float(time_s[at]),
            float(time_s[at - 1]),
            channels[whose[at]].number,
            channels[whose[at - 1]].number,
            channels[whose[at]].quantity,
            channels[whose[at]].label,
        )
        for at in changes
    ]
