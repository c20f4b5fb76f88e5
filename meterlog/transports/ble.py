"""Bytes from a BLE peripheral's notifications, through bleak; every opening is a new client on the one thread.

How a link is kept alive over hours (drops, silence, back-off) is the business of whoever opens it; what belongs to
Bluetooth is here: find it, connect, subscribe, ask where it must be asked, and always disconnect, since links that
are merely forgotten use up the process's file descriptors and keep the peripheral from being found again.
"""

from __future__ import annotations

import asyncio
import contextlib
import logging
import queue
import time
from collections.abc import Awaitable, Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

from meterlog.errors import LinkAbsent, LinkError, LinkForbidden, LinkLost, MeterlogError
from meterlog.transports.ble_errors import link_error
from meterlog.transports.ble_scan import Peripheral, Wanted, answering, connected_devices, find, scan
from meterlog.transports.ble_services import in_order, serial_pair, short
from meterlog.transports.ble_thread import run, start
from meterlog.transports.contract import Chunk

if TYPE_CHECKING:
    from bleak import BleakClient
    from bleak.backends.characteristic import BleakGATTCharacteristic
    from bleak.backends.device import BLEDevice

__all__ = ["BleLink", "BleSettings", "BleTransport", "Peripheral", "Tagging", "Wanted", "scan"]

CONNECT_S = 15.0
"""Longest time for a connection, s: default, unverified; slow peripherals take some seconds with service discovery."""

CONNECT_TRIES, CONNECT_PAUSE_S = 3, 0.3
"""A first connection fails now and then on a busy band, and the second succeeds (defaults, unverified)."""

CLOSE_S = 5.0
"""Time for which `close` waits for the peripheral to be let go."""

PRESENTATION_FORMAT = "00002904-0000-1000-8000-00805f9b34fb"
"""The descriptor that says how a characteristic's value is to be read (Bluetooth Assigned Numbers)."""

_log = logging.getLogger(__name__)
_open_addresses: set[str] = set()
"""Peripherals that this process holds. Touched on the Bluetooth thread only."""


class Tagging(Protocol):
    """Picks the characteristics that measure, and packs each value with what is needed to understand it."""

    def wanted(self, uuid: str, presentation: bytes) -> bool:
        """Tell whether a characteristic is one; `presentation` is its Presentation Format, empty when it has none."""
        ...

    def pack(self, column: int, uuid: str, presentation: bytes, value: bytes) -> bytes:
        """One value as self-contained bytes."""
        ...


@dataclass(frozen=True, slots=True)
class BleSettings:
    """The way to a peripheral and its bytes. UUIDs in long form; empty means any.

    Attributes:
        wanted: which peripheral.
        service: the service that carries the readings.
        notify: the characteristic they come from.
        write: the characteristic that requests go to.
        poll: a request to send again and again; empty for a meter that sends by itself.
        interval_s: the time between requests, or between reads of what cannot notify.
        adapter: for example `hci0` (Linux only).
        search_s: how long to look for it.
    """

    wanted: Wanted
    service: str = ""
    notify: str = ""
    write: str = ""
    poll: bytes = b""
    interval_s: float = 0.5
    adapter: str | None = None
    search_s: float = 10.0


class BleTransport:
    """A way to one peripheral that can be opened again and again."""

    byte_time_s = 0.0
    """A notification comes whole; how long it was on the way cannot be known."""

    def __init__(self, settings: BleSettings, tagging: Tagging | None = None) -> None:
        """Open nothing yet.

        Args:
            settings: how to reach it.
            tagging: for values of single characteristics; a serial line's bytes come as they are when None.
        """
        self._settings, self._tagging = settings, tagging
        self._wanted = settings.wanted

    @property
    def name(self) -> str:
        """The address, name or service that it was asked for by."""
        wanted = self._settings.wanted
        return wanted.address or (f"'{wanted.name}'" if wanted.name else f"a peripheral with {short(wanted.service)}")

    @property
    def found(self) -> str:
        """The address of the peripheral once it was opened; before, that which was asked for, or empty."""
        return self._wanted.address

    def open(self) -> BleLink:
        """Find it, connect, subscribe.

        Raises:
            LinkError: not found, refused, Bluetooth off or absent: one plain sentence.
            AddressError: several peripherals fit the address.
        """
        return run(self._open())

    async def _open(self) -> BleLink:
        settings = self._settings
        try:
            held = await self._already_connected()
            if held is not None:
                with contextlib.suppress(LinkError):  # what the system says of it may be out of date: then search
                    return await self._connect(held)
            device = await find(self._wanted, settings.search_s, settings.adapter, self.name, _open_addresses)
            return await self._connect(device)
        except MeterlogError:
            raise
        except Exception as error:
            raise link_error(error, self.name) from error

    async def _already_connected(self) -> BLEDevice | None:
        async with answering(self.name):
            held = await connected_devices(self._settings.adapter, self._wanted.service)
        fitting = [
            device
            for device in held
            if device.address not in _open_addresses
            and self._wanted.fits(device.address, device.name, [self._wanted.service])
        ]
        return fitting[0] if len(fitting) == 1 else None

    async def _connect(self, device: BLEDevice) -> BleLink:
        for left in reversed(range(CONNECT_TRIES)):
            link = BleLink(self.name, device, self._settings, self._tagging)
            try:
                await link.connect()
            except BaseException as error:
                await link.disconnect()
                if not isinstance(error, Exception):
                    raise
                if not (left and _passing(error, self.name)):
                    raise link_error(error, self.name) from error
                await asyncio.sleep(CONNECT_PAUSE_S)
                continue
            break
        # the next opening must find this one again, not its twin on the other bench
        self._wanted = Wanted(address=device.address)
        return link


def _passing(error: Exception, port: str) -> bool:
    """Tell whether trying again soon may help: a quick failure of the radio, not a refusal and nothing of our own."""
    mapped = link_error(error, port)
    return mapped is not error and not isinstance(error, TimeoutError) and isinstance(mapped, LinkAbsent | LinkLost)


class BleLink:
    """An open link to a peripheral. `read`, `write` and `close` are for any thread; the rest is for `BleTransport`."""

    def __init__(self, port: str, device: BLEDevice, settings: BleSettings, tagging: Tagging | None) -> None:
        from bleak import BleakClient

        self._port, self._settings, self._tagging = port, settings, tagging
        self._address = device.address
        self._inbox: queue.SimpleQueue[Chunk | LinkError] = queue.SimpleQueue()
        self._lost: LinkError | None = None
        self._closed = False
        self._outgoing: BleakGATTCharacteristic | None = None
        self._asking: asyncio.Task[None] | None = None
        self._client: BleakClient = BleakClient(
            device,
            self._on_disconnected,
            timeout=CONNECT_S,
            bluez={"adapter": settings.adapter} if settings.adapter else {},
        )

    async def connect(self) -> None:
        """Connect and subscribe."""
        _open_addresses.add(self._address)
        await self._client.connect()
        async with asyncio.timeout(CONNECT_S):
            if self._tagging is None:
                await self._subscribe_serial()
            else:
                await self._subscribe_tagged(self._tagging)

    async def _subscribe_serial(self) -> None:
        s = self._settings
        pair = serial_pair(list(self._client.services), s.service, s.notify, s.write, self._port)
        self._outgoing = pair.outgoing
        if s.poll and pair.outgoing is None:
            raise LinkAbsent(
                f"{self._port} has no characteristic to send the poll to: name one with write=", self._port
            )
        await self._client.start_notify(pair.incoming, self._on_bytes)
        if s.poll:
            await self._send(s.poll)  # a refusal shows now
            self._asking = asyncio.create_task(self._ask(lambda: self._send(s.poll)))

    async def _subscribe_tagged(self, tagging: Tagging) -> None:
        slow: list[Callable[[], Awaitable[None]]] = []
        column = 0
        for characteristic in in_order(self._client.services):
            descriptor = characteristic.get_descriptor(PRESENTATION_FORMAT)
            presentation = bytes(await self._client.read_gatt_descriptor(descriptor)) if descriptor else b""
            if not tagging.wanted(characteristic.uuid, presentation):
                continue
            hear = self._packer(tagging, column, characteristic.uuid, presentation)
            if {"notify", "indicate"} & set(characteristic.properties):
                await self._client.start_notify(characteristic, hear)
            elif "read" in characteristic.properties:
                slow.append(self._reader(characteristic, hear))
            else:
                continue
            column += 1
        if not column:
            raise LinkAbsent(
                f"{self._port} has no characteristic with a known quantity: a serial one needs decoder=, a name of"
                " 'meterlog meters --drivers'",
                self._port,
            )
        if slow:
            self._asking = asyncio.create_task(self._ask(*slow))

    def _packer(
        self, tagging: Tagging, column: int, uuid: str, presentation: bytes
    ) -> Callable[[BleakGATTCharacteristic, bytearray], None]:
        def hear(characteristic: BleakGATTCharacteristic, value: bytearray) -> None:
            self._on_bytes(characteristic, tagging.pack(column, uuid, presentation, bytes(value)))

        return hear

    def _reader(
        self,
        characteristic: BleakGATTCharacteristic,
        hear: Callable[[BleakGATTCharacteristic, bytearray], None],
    ) -> Callable[[], Awaitable[None]]:
        async def read() -> None:
            hear(characteristic, await self._client.read_gatt_char(characteristic))

        return read

    async def _ask(self, *questions: Callable[[], Awaitable[None]]) -> None:
        """Ask at a steady pace until that fails."""
        next_s = time.monotonic()
        try:
            while True:
                next_s = max(next_s + self._settings.interval_s, time.monotonic())
                await asyncio.sleep(next_s - time.monotonic())
                for question in questions:
                    await question()
        except Exception as error:
            if not self._closed:
                self._inbox.put(link_error(error, self._port))

    async def _send(self, data: bytes) -> None:
        if self._outgoing is None:
            raise LinkForbidden(f"{self._port} has no characteristic to write to", self._port)
        confirmed = "write-without-response" not in self._outgoing.properties
        size = self._outgoing.max_write_without_response_size
        for begin in range(0, len(data), size):
            await self._client.write_gatt_char(self._outgoing, data[begin : begin + size], confirmed)

    def _on_bytes(self, _: BleakGATTCharacteristic, data: bytes | bytearray) -> None:
        if data:
            self._inbox.put(Chunk(bytes(data), time.monotonic()))

    def _on_disconnected(self, _: BleakClient) -> None:
        # fires for a wanted disconnect too
        if not self._closed:
            self._inbox.put(
                LinkLost(f"{self._port} dropped the link: out of reach, switched off or asleep", self._port)
            )

    async def disconnect(self) -> None:
        """Let go of the peripheral, whatever state the link is in."""
        self._closed = True
        if self._asking is not None:
            self._asking.cancel()
        try:
            await self._client.disconnect()
        except Exception as error:  # the client is released all the same; the peripheral may be gone
            _log.debug("while disconnecting %s: %r", self._port, error)
        finally:
            _open_addresses.discard(self._address)

    def read(self, timeout_s: float) -> Chunk | None:
        """One notification with its own arrival time; see `Link.read`."""
        if self._lost is not None:
            raise self._lost
        try:
            item = self._inbox.get(timeout=max(timeout_s, 0.0))
        except queue.Empty:
            return None
        if isinstance(item, LinkError):
            self._lost = item
            raise item
        return item

    def write(self, data: bytes) -> None:
        """See `Link.write`."""
        try:
            run(self._send(data), CONNECT_S)
        except Exception as error:
            raise link_error(error, self._port) from error

    def close(self) -> None:
        """See `Link.close`."""
        if self._closed:
            return
        self._closed = True
        work = start(self.disconnect())
        with contextlib.suppress(TimeoutError):  # it goes on in the background
            work.result(CLOSE_S)
