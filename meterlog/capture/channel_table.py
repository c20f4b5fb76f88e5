"""Finds the channel that a reading belongs to, and begins one where it is the first of its kind."""

from __future__ import annotations

import math
from collections.abc import Sequence

from meterlog.capture.channels import LiveChannel
from meterlog.capture.meters import MeterSetup
from meterlog.display_check import check_key, conversion_key
from meterlog.reading import Quantity, Reading
from meterlog.roles import entered_role
from meterlog.session import Channel, SessionWriter


class ChannelTable:
    """The channels of a recording: one for each meter, column and quantity. Not thread-safe.

    The order of the meters, not that of their first readings, numbers the channels: the first column of the k-th meter
    is channel k; then come the other columns that are known or named beforehand, meter by meter; then whatever else
    turns up, as it comes. The numbers of a meter that stays silent stay free.

    Attributes:
        live: every channel's latest figures, by number, lowest first. Replaced, never changed.
    """

    def __init__(self, meters: Sequence[MeterSetup], writer: SessionWriter) -> None:
        """Begin without any channel."""
        self.live: dict[int, LiveChannel] = {}
        self._meters, self._writer = meters, writer
        self._numbers: dict[tuple[int, int, Quantity], int] = {}
        self._showing: dict[tuple[int, int], int] = {}
        places = [(meter, 0) for meter in range(len(meters))]
        places += [(meter, column) for meter, setup in enumerate(meters) for column in range(1, setup.columns_named)]
        self._reserved = {place: number for number, place in enumerate(places, 1)}
        self._next = len(places) + 1

    def new(self, meter: int, readings: list[Reading]) -> list[Reading]:
        """Return those of a meter's readings that have no channel yet, one each, by column."""
        first: dict[tuple[int, Quantity], Reading] = {}
        for reading in readings:
            if (meter, reading.column, reading.quantity) not in self._numbers:
                first.setdefault((reading.column, reading.quantity), reading)
        return sorted(first.values(), key=lambda reading: reading.column)

    def number(self, meter: int, reading: Reading) -> int:
        """Return the number of the channel that this reading belongs to, which has begun."""
        return self._numbers[meter, reading.column, reading.quantity]

    def turned_from(self, meter: int, reading: Reading) -> int | None:
        """Return the channel that this column of the meter showed until now, where this reading is another's."""
        number, place = self.number(meter, reading), (meter, reading.column)
        before = self._showing.get(place)
        self._showing[place] = number
        return before if before != number else None

    def _free_number(self, meter: int, column: int) -> int:
        reserved = self._reserved.pop((meter, column), None)
        if reserved is not None:
            return reserved
        self._next += 1
        return self._next - 1

    def begin(self, meter: int, reading: Reading) -> Channel:
        """Begin the channel of this reading: the meter's first one, or its dial was turned.

        Raises:
            SessionWriteFailed: the session cannot be written on.
        """
        setup, column, quantity = self._meters[meter], reading.column, reading.quantity
        label, point, address = setup.label(column), setup.point(column), setup.reached_by
        accuracy = setup.accuracy_of(quantity)
        number = self._free_number(meter, column)
        self._writer.add_channel(
            label,
            quantity,
            point=point,
            address=str(address),
            driver=address.scheme,
            accuracy=accuracy,
            interval_s=setup.interval_s,
            number=number,
        )
        self._numbers[meter, column, quantity] = number
        live = LiveChannel(number, meter, label, quantity, setup.interval_s)
        self.live = dict(sorted({**self.live, number: live}.items()))
        role = entered_role(self._writer.details, number)
        if checked := setup.checked:
            self._writer.set_detail(check_key(number), checked)
        if converted := setup.converted(column, quantity):
            self._writer.set_detail(conversion_key(number), converted)
        return Channel(number, label, quantity, point, str(address), address.scheme, accuracy, setup.interval_s, role)

    def latest(self, meter: int) -> list[int]:
        """Return the channel that each of the meter's columns showed last, by number."""
        return list({column: number for (one, column, _), number in self._numbers.items() if one == meter}.values())

    def add_rejected(self, meter: int, total: int) -> None:
        """Count the rejected frames of a meter, so many in all by now, to the channel that it showed last.

        Raises:
            SessionWriteFailed: the session cannot be written on.
        """
        own = [channel for channel in self.live.values() if channel.meter == meter]
        fresh = total - sum(channel.rejected for channel in own)
        if fresh > 0 and own:
            shown = max(own, key=lambda channel: channel.last.time_s if channel.last else -math.inf)
            shown.rejected += fresh
            self._writer.set_rejected(shown.number, shown.rejected)

    @property
    def meters(self) -> list[tuple[int, int]]:
        """Every channel with its meter: (channel's number, meter's number)."""
        return [(number, channel.meter) for number, channel in self.live.items()]

    @property
    def kept(self) -> int:
        """The number of readings in the session."""
        return sum(channel.kept for channel in self.live.values())

    def shown(self, start_s: float) -> list[list[float]]:
        """List what each meter shows now, as [channel, time from `start_s` (s), value, resolution, flags]."""
        latest = [(number, channel.last) for number, channel in self.live.items()]
        return [
            [number, last.time_s - start_s, last.value, last.resolution, int(last.flags)]
            for number, last in latest
            if last is not None
        ]
