"""Who is in reach: the one scanner of the process, shared by all who look for a peripheral."""

from __future__ import annotations

import asyncio
import time
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING

from meterlog.errors import AddressError, LinkAbsent, LinkBusy, LinkLost
from meterlog.transports.ble_errors import ELSEWHERE, link_error
from meterlog.transports.ble_services import MEASURING_SERVICES, SERIAL_SERVICES, short
from meterlog.transports.ble_thread import run

if TYPE_CHECKING:
    from bleak import BleakScanner
    from bleak.args.bluez import BlueZAdapterArgs
    from bleak.backends.device import BLEDevice
    from bleak.backends.scanner import AdvertisementData

FRESH_S = 3.0
"""Time for which an advertisement counts as heard just now: someone who begins to listen while the scanner runs would
otherwise miss a peripheral, since systems report a repeated advertisement only when it changes."""

SETTLE_S = 1.0
"""Time to listen on after the first peripheral with the wanted name or service, for a second one like it."""

ANSWER_S = 10.0
"""Longest time the system's Bluetooth service may take for its answers, beside the time that was asked for."""


@dataclass(frozen=True, slots=True)
class Peripheral:
    """A BLE peripheral in reach.

    Attributes:
        address: its Bluetooth address; on macOS an identifier that is different on each computer.
        name: as advertised; empty when it has none.
        rssi_dbm: signal strength; None for one that is connected already.
        services: the UUIDs that it advertises, short where there is a short form.
        connected: it is connected to this computer, so it does not advertise.
    """

    address: str
    name: str
    rssi_dbm: int | None
    services: tuple[str, ...]
    connected: bool = False


@dataclass(frozen=True, slots=True)
class Wanted:
    """Says which peripheral is looked for; the empty ones do not matter.

    Attributes:
        address: its address or macOS identifier.
        name: its advertised name.
        service: the long UUID of a service it advertises.
    """

    address: str = ""
    name: str = ""
    service: str = ""

    def fits(self, address: str, name: str | None, services: list[str]) -> bool:
        """Tell whether an advertisement is its own."""
        if self.address:
            return address.lower() == self.address.lower()
        if self.name and name != self.name:
            return False
        return not self.service or self.service in {uuid.lower() for uuid in services}


class _Scanner:
    """One scanner on one adapter, running while anyone listens. Lives on the Bluetooth thread."""

    def __init__(self, adapter: str | None) -> None:
        self._adapter = adapter
        self._change = asyncio.Lock()
        self._listeners: set[Callable[[BLEDevice, AdvertisementData], None]] = set()
        self._heard: dict[str, tuple[float, BLEDevice, AdvertisementData]] = {}
        self._scanner: BleakScanner | None = None

    @asynccontextmanager
    async def listening(self, hear: Callable[[BLEDevice, AdvertisementData], None]) -> AsyncIterator[None]:
        """Call `hear` with each advertisement while inside."""
        async with self._change:
            if self._scanner is None:
                self._scanner = await self._begin()
        self._listeners.add(hear)
        for heard_s, device, advertisement in list(self._heard.values()):
            if time.monotonic() - heard_s < FRESH_S:
                hear(device, advertisement)
        try:
            yield
        finally:
            self._listeners.discard(hear)
            async with self._change:
                if not self._listeners and self._scanner is not None:
                    scanner, self._scanner = self._scanner, None
                    self._heard.clear()
                    await scanner.stop()

    async def _begin(self) -> BleakScanner:
        from bleak import BleakScanner

        scanner = BleakScanner(self._on_advertisement, bluez={"adapter": self._adapter} if self._adapter else {})
        await scanner.start()
        return scanner

    def _on_advertisement(self, device: BLEDevice, advertisement: AdvertisementData) -> None:
        self._heard[device.address] = (time.monotonic(), device, advertisement)
        for hear in list(self._listeners):
            hear(device, advertisement)


_scanners: dict[str | None, _Scanner] = {}
"""By adapter. Touched on the Bluetooth thread only."""


def _scanner(adapter: str | None) -> _Scanner:
    return _scanners.setdefault(adapter, _Scanner(adapter))


@asynccontextmanager
async def answering(port: str, timeout_s: float = 0.0) -> AsyncIterator[None]:
    """Give the system's Bluetooth service time for what is done inside.

    Raises:
        LinkLost: it hangs.
    """
    try:
        async with asyncio.timeout(timeout_s + ANSWER_S):
            yield
    except TimeoutError:
        sentence = "the system's Bluetooth service does not answer: restart it ('sudo systemctl restart bluetooth')"
        raise LinkLost(sentence, port) from None


def scan(timeout_s: float, adapter: str | None = None) -> list[Peripheral]:
    """Listen for peripherals.

    Args:
        timeout_s: how long.
        adapter: which adapter, for example `hci0` (Linux only); the system's first when None.

    Returns:
        Those heard, the strongest first, then those that are connected to this computer.

    Raises:
        LinkError: Bluetooth is absent, off, or not allowed, with one plain sentence.
    """
    return run(_scan(timeout_s, adapter))


async def _scan(timeout_s: float, adapter: str | None) -> list[Peripheral]:
    heard: dict[str, Peripheral] = {}

    def hear(device: BLEDevice, advertisement: AdvertisementData) -> None:
        services = tuple(short(uuid) for uuid in advertisement.service_uuids)
        name = advertisement.local_name or device.name or ""
        heard[device.address] = Peripheral(device.address, name, advertisement.rssi, services)

    try:
        async with answering("Bluetooth", timeout_s):
            async with _scanner(adapter).listening(hear):
                await asyncio.sleep(timeout_s)
            held = await connected_devices(adapter)
    except Exception as error:
        raise link_error(error, "Bluetooth") from error
    by_strength = sorted(heard.values(), key=lambda p: p.rssi_dbm or -999, reverse=True)
    return by_strength + [
        Peripheral(device.address, device.name or "", None, (), True) for device in held if device.address not in heard
    ]


async def connected_devices(adapter: str | None, service: str = "") -> list[BLEDevice]:
    """Peripherals that are connected to this computer already, for example by a program that was killed.

    They do not advertise, so no scan finds them. Empty where the system cannot tell.

    Args:
        adapter: as in `scan`.
        service: only those with this service's long UUID.
    """
    from bleak import BleakAdapter

    any_service = ["1800", "1801", *SERIAL_SERVICES, *MEASURING_SERVICES]
    bluez: BlueZAdapterArgs = {"adapter": adapter} if adapter else {}
    try:
        found = await BleakAdapter.get(bluez=bluez)
        return await found.get_connected_devices([service] if service else any_service)
    except NotImplementedError:
        return []


async def find(wanted: Wanted, timeout_s: float, adapter: str | None, port: str, taken: set[str]) -> BLEDevice:
    """Look for one peripheral by its advertisements.

    Args:
        wanted: which.
        timeout_s: how long to look.
        adapter: as in `scan`.
        port: what to call it.
        taken: addresses that this program has open, which are left out.

    Raises:
        LinkAbsent: not heard.
        LinkBusy: this program has it open.
        AddressError: several have the wanted name or service; their addresses are listed.
    """
    if wanted.address.upper() in taken:
        raise LinkBusy(f"{port} is already open in this program: give each meter once", port)
    matches: dict[str, BLEDevice] = {}
    others: set[str] = set()
    first = asyncio.Event()

    def hear(device: BLEDevice, advertisement: AdvertisementData) -> None:
        name = advertisement.local_name or device.name
        if device.address in taken or not wanted.fits(device.address, name, advertisement.service_uuids):
            others.add(device.address)
            return
        matches[device.address] = device
        first.set()

    async with answering(port, timeout_s), _scanner(adapter).listening(hear):
        try:
            await asyncio.wait_for(first.wait(), timeout_s)
        except TimeoutError:
            heard = f"{len(others)} others were heard" if others else "nothing else was heard either"
            raise LinkAbsent(f"{port} was not found in {timeout_s:g} s ({heard}): {ELSEWHERE}", port) from None
        if not wanted.address:
            await asyncio.sleep(SETTLE_S)
    if len(matches) > 1:
        raise AddressError(
            f"{len(matches)} peripherals answer to {port}: choose one by its address, of {', '.join(sorted(matches))}"
        )
    return next(iter(matches.values()))
