"""Finds the channel that a reading belongs to, and begins one where it is the first of its kind."""

from __future__ import annotations

from collections.abc import Sequence

from meterlog.capture.channels import LiveChannel
from meterlog.capture.meters import MeterSetup
from meterlog.reading import Quantity, Reading
from meterlog.session import Channel, SessionWriter


class ChannelTable:
    """The channels of a recording: one for each meter, column and quantity. Not thread-safe.

    Attributes:
        live: every channel's latest figures, by number.
    """

    def __init__(self, meters: Sequence[MeterSetup], writer: SessionWriter) -> None:
        """Begin without any channel."""
        self.live: dict[int, LiveChannel] = {}
        self._meters, self._writer = meters, writer
        self._numbers: dict[tuple[int, int, Quantity], int] = {}

    def number(self, meter: int, reading: Reading) -> int | None:
        """Return the number of the channel that this reading belongs to; None before its first reading."""
        return self._numbers.get((meter, reading.column, reading.quantity))

    def begin(self, meter: int, reading: Reading) -> Channel:
        """Begin the channel of this reading: the meter's first one, or its dial was turned.

        Raises:
            SessionWriteFailed: the session cannot be written on.
        """
        setup, column, quantity = self._meters[meter], reading.column, reading.quantity
        label, point, address = setup.label(column), setup.point(column), setup.reached_by
        number = self._writer.add_channel(
            label,
            quantity,
            point=point,
            address=str(address),
            driver=address.scheme,
            accuracy=setup.accuracy,
            interval_s=setup.interval_s,
        )
        self._numbers[meter, column, quantity] = number
        self.live[number] = LiveChannel(number, meter, label, quantity, setup.interval_s)
        return Channel(number, label, quantity, point, str(address), address.scheme, setup.accuracy, setup.interval_s)

    def latest(self, meter: int) -> list[int]:
        """Return the channel that each of the meter's columns showed last, by number."""
        return list({column: number for (one, column, _), number in self._numbers.items() if one == meter}.values())

    @property
    def meters(self) -> list[tuple[int, int]]:
        """Every channel with its meter: (channel's number, meter's number)."""
        return [(number, channel.meter) for number, channel in self.live.items()]

    @property
    def kept(self) -> int:
        """How many readings went into the session."""
        return sum(channel.kept for channel in self.live.values())

    def shown(self, start_s: float) -> list[list[float]]:
        """List what each meter shows now, as [channel, time from `start_s` (s), value, resolution, flags]."""
        latest = [(number, channel.last) for number, channel in self.live.items()]
        return [
            [number, last.time_s - start_s, last.value, last.resolution, int(last.flags)]
            for number, last in latest
            if last is not None
        ]
