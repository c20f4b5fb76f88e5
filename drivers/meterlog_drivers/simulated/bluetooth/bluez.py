"""A stand-in for the Linux Bluetooth service: `org.bluez` on a private message bus, with peripherals but no radio.

Unmodified bleak finds its peripherals, connects, subscribes and loses them as it would real ones, so that a BLE
meter can be tried, and the transport tested, on any Linux computer. What it cannot show: range, interference,
pairing, a real adapter's limits, and the timing of real radio links.

Methods and errors are those of the BlueZ D-Bus API (org.bluez.Adapter, .Device and .GattCharacteristic documents);
the peripherals and their objects are in `peripheral.py`.
"""

from __future__ import annotations

import asyncio
import threading
from collections.abc import Callable, Coroutine, Iterable, Mapping
from types import TracebackType
from typing import Any, TypeVar

from bleak.uuids import normalize_uuid_str
from dbus_fast import Message, MessageType, Variant
from dbus_fast.aio import MessageBus

from meterlog_drivers.simulated.bluetooth.peripheral import (
    CHARACTERISTIC,
    DEVICE,
    SimulatedPeripheral,
    device_properties,
    gatt_objects,
)

_T = TypeVar("_T")
_ADAPTER = "org.bluez.Adapter1"
_OBJECTS, _PROPERTIES = "org.freedesktop.DBus.ObjectManager", "org.freedesktop.DBus.Properties"

ADVERTISING_S = 0.1
"""Time between two advertisements of a peripheral: common for a device that wants to be found soon."""


class SimulatedBluez:
    """`org.bluez` on the bus at an address, in a thread of its own. Its methods may be called from any thread.

    Attributes:
        connects: how many times each peripheral was connected to, by address.
        writes: what was written, in order: peripheral's address, characteristic's UUID, bytes.
        hangs: True and no call is answered.
    """

    def __init__(self, bus_address: str, adapters: Mapping[str, bool] | None = None) -> None:
        """Start it.

        Args:
            bus_address: of the message bus, as `PrivateBus.address`.
            adapters: whether each is switched on; one that is, `hci0`, when None.
        """
        self.connects: dict[str, int] = {}
        self.writes: list[tuple[str, str, bytes]] = []
        self.hangs = False
        self._bus_address = bus_address
        self._peripherals: dict[str, SimulatedPeripheral] = {}
        self._objects: dict[str, dict[str, dict[str, Variant]]] = {}
        self._subscribed: dict[str, set[str]] = {}
        self._discovering: set[str] = set()
        self._tasks: set[asyncio.Task[None]] = set()
        self._streams: set[asyncio.Task[None]] = set()
        self._bus: MessageBus | None = None
        for name, powered in ({"hci0": True} if adapters is None else adapters).items():
            self._objects[f"/org/bluez/{name}"] = {_ADAPTER: self._adapter(name, powered)}
        self._loop = asyncio.new_event_loop()
        self._thread = threading.Thread(target=self._loop.run_forever, name="simulated bluetooth", daemon=True)
        self._thread.start()
        self.come_back()

    # ---- what a test or a person does to it -------------------------------------------------------------------

    def add(self, peripheral: SimulatedPeripheral) -> SimulatedPeripheral:
        """Put a peripheral in reach."""
        self._peripherals[self._path(peripheral)] = peripheral
        return peripheral

    def notify(self, peripheral: SimulatedPeripheral, data: bytes, uuid: str = "", size: int = 20) -> bool:
        """Send bytes as notifications of at most `size` bytes (20: the payload of the smallest MTU).

        Args:
            peripheral: whose.
            data: what.
            uuid: the characteristic; the first one that was subscribed to when empty.
            size: the most bytes in one notification.

        Returns:
            Whether anyone was subscribed; if not, the bytes are lost, as with a real one.
        """
        return self._run(self._notify(peripheral, data, uuid, size))

    def stream(self, peripheral: SimulatedPeripheral, frames: Iterable[bytes], interval_s: float) -> None:
        """Send one frame after the other from now on, at a steady pace, as a meter does that nobody has to ask.

        Those whose time comes while nobody is subscribed are lost.
        """
        self._run(self._start_stream(peripheral, frames, interval_s))

    def drop(self, peripheral: SimulatedPeripheral) -> None:
        """Lose the link to a peripheral, as when it is carried away."""
        self._run(self._lose(self._path(peripheral)))

    def forget(self, peripheral: SimulatedPeripheral) -> None:
        """Remove the peripheral's object without a word about the link."""
        self._run(self._forget(self._path(peripheral)))

    def subscribers(self, peripheral: SimulatedPeripheral) -> int:
        """Count the programs subscribed to any of a peripheral's characteristics."""
        return self._run(self._count_subscribers(self._path(peripheral)))

    def is_connected(self, peripheral: SimulatedPeripheral) -> bool:
        """Tell whether the adapter holds a link to the peripheral."""
        device = self._objects.get(self._path(peripheral), {}).get(DEVICE, {})
        return bool("Connected" in device and device["Connected"].value)

    def power(self, adapter: str, on: bool) -> None:
        """Switch an adapter on or off."""
        self._run(self._set(f"/org/bluez/{adapter}", _ADAPTER, {"Powered": Variant("b", on)}))

    def vanish(self) -> None:
        """Crash: leave the bus without a word, keeping nothing of what was connected or found."""
        self._run(self._vanish())

    def come_back(self) -> None:
        """Take the name `org.bluez` (again)."""
        self._run(self._come_back())

    def close(self) -> None:
        """Leave the bus in good order, all objects removed, and end the thread. Safe to call twice."""
        if self._loop.is_closed():
            return
        self._run(self._remove_all())
        self._run(_cancel(self._streams))
        self.vanish()
        self._loop.call_soon_threadsafe(self._loop.stop)
        self._thread.join()
        self._loop.close()

    def __enter__(self) -> SimulatedBluez:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        self.close()

    # ---- its life on the bus ----------------------------------------------------------------------------------

    def _run(self, work: Coroutine[Any, Any, _T]) -> _T:
        return asyncio.run_coroutine_threadsafe(work, self._loop).result(10)

    async def _come_back(self) -> None:
        bus = await MessageBus(self._bus_address).connect()
        bus.add_message_handler(self._on_message)
        match = Message(
            destination="org.freedesktop.DBus",
            path="/org/freedesktop/DBus",
            interface="org.freedesktop.DBus",
            member="AddMatch",
            signature="s",
            body=["type='signal',interface='org.freedesktop.DBus',member='NameOwnerChanged'"],
        )
        await bus.call(match)
        self._bus = bus
        await bus.request_name("org.bluez")
        for path, interfaces in self._objects.items():
            self._signal("/", _OBJECTS, "InterfacesAdded", "oa{sa{sv}}", [path, interfaces])
        self._spawn(self._advertise())

    async def _vanish(self) -> None:
        await _cancel(self._tasks)
        bus, self._bus = self._bus, None
        if bus is not None:
            bus.disconnect()
        self._subscribed.clear()
        self._discovering.clear()
        self._objects = {path: found for path, found in self._objects.items() if _ADAPTER in found}

    def _spawn(self, work: Coroutine[Any, Any, None]) -> None:
        _keep(self._tasks, self._loop.create_task(work))

    def _signal(self, path: str, interface: str, member: str, signature: str, body: list[Any]) -> None:
        if self._bus is not None:
            self._bus.send(Message.new_signal(path, interface, member, signature, body))

    async def _set(self, path: str, interface: str, changed: dict[str, Variant]) -> None:
        self._objects[path][interface].update(changed)
        self._signal(path, _PROPERTIES, "PropertiesChanged", "sa{sv}as", [interface, changed, []])

    def _add(self, path: str, interface: str, values: dict[str, Variant]) -> None:
        self._objects[path] = {interface: values}
        self._signal("/", _OBJECTS, "InterfacesAdded", "oa{sa{sv}}", [path, self._objects[path]])

    def _remove(self, path: str) -> None:
        interfaces = list(self._objects.pop(path))
        self._subscribed.pop(path, None)
        self._signal("/", _OBJECTS, "InterfacesRemoved", "oas", [path, interfaces])

    # ---- calls ------------------------------------------------------------------------------------------------

    def _on_message(self, message: Message) -> Message | bool | None:
        if message.message_type is MessageType.SIGNAL and message.member == "NameOwnerChanged":
            name, _, owner = message.body
            if not owner:  # a program ended: BlueZ ends its scan and subscriptions, and leaves the link up
                self._discovering.discard(name)
                for names in self._subscribed.values():
                    names.discard(name)
            return None
        if message.message_type is not MessageType.METHOD_CALL or not (message.interface or "").startswith(
            ("org.bluez.", _OBJECTS)
        ):
            return None
        if self.hangs:
            return True
        if message.member == "GetManagedObjects":
            return Message.new_method_return(message, "a{oa{sa{sv}}}", [self._objects])
        interfaces = self._objects.get(message.path or "")
        if interfaces is None or message.interface not in interfaces:
            return _refusal(message, "org.freedesktop.DBus.Error.UnknownObject", "no such object")
        answer = getattr(self, f"_on_{message.member}", None)
        if answer is None:
            return _refusal(message, "org.freedesktop.DBus.Error.UnknownMethod", f"no method {message.member}")
        peripheral = self._peripherals.get(_device_path(message.path or ""))
        if peripheral is not None and message.member in peripheral.refuses:
            return _refusal(message, *peripheral.refuses[message.member])
        self._spawn(self._reply(message, answer))
        return True

    async def _reply(self, message: Message, answer: Callable[[Message], Coroutine[Any, Any, Message]]) -> None:
        reply = await answer(message)
        if self._bus is not None:
            self._bus.send(reply)

    async def _on_SetDiscoveryFilter(self, message: Message) -> Message:
        return Message.new_method_return(message)

    async def _on_StartDiscovery(self, message: Message) -> Message:
        if not self._objects[message.path or ""][_ADAPTER]["Powered"].value:
            return _refusal(message, "org.bluez.Error.NotReady", "Resource Not Ready")
        self._discovering.add(message.sender or "")
        return Message.new_method_return(message)

    async def _on_StopDiscovery(self, message: Message) -> Message:
        self._discovering.discard(message.sender or "")
        return Message.new_method_return(message)

    async def _on_Connect(self, message: Message) -> Message:
        path = message.path or ""
        peripheral = self._peripherals[path]
        if not peripheral.in_reach:
            return _refusal(message, "org.bluez.Error.Failed", "le-connection-abort-by-remote")
        self.connects[peripheral.address] = self.connects.get(peripheral.address, 0) + 1
        await self._set(path, DEVICE, {"Connected": Variant("b", True)})
        self._spawn(self._resolve(path, peripheral))
        return Message.new_method_return(message)

    async def _on_Disconnect(self, message: Message) -> Message:
        await self._lose(message.path or "")
        return Message.new_method_return(message)

    async def _on_StartNotify(self, message: Message) -> Message:
        flags = self._objects[message.path or ""][CHARACTERISTIC]["Flags"].value
        if not {"notify", "indicate"} & set(flags):
            return _refusal(message, "org.bluez.Error.NotSupported", "Operation is not supported")
        self._subscribed.setdefault(message.path or "", set()).add(message.sender or "")
        return Message.new_method_return(message)

    async def _on_StopNotify(self, message: Message) -> Message:
        self._subscribed.get(message.path or "", set()).discard(message.sender or "")
        return Message.new_method_return(message)

    async def _on_WriteValue(self, message: Message) -> Message:
        path = message.path or ""
        uuid, data = self._objects[path][CHARACTERISTIC]["UUID"].value, bytes(message.body[0])
        peripheral = self._peripherals[_device_path(path)]
        self.writes.append((peripheral.address, uuid, data))
        answer = peripheral.on_write(uuid, data) if peripheral.on_write is not None else None
        if answer:
            await self._notify(peripheral, answer, "", 20)
        return Message.new_method_return(message)

    async def _on_ReadValue(self, message: Message) -> Message:
        values = next(iter(self._objects[message.path or ""].values()))
        return Message.new_method_return(message, "ay", [values["Value"].value])

    # ---- peripherals ------------------------------------------------------------------------------------------

    async def _advertise(self) -> None:
        turn = 0
        while True:
            await asyncio.sleep(ADVERTISING_S)
            turn += 1
            for path, peripheral in self._peripherals.items() if self._discovering else ():
                if not peripheral.in_reach or self.is_connected(peripheral):
                    continue
                if path not in self._objects:
                    self._add(path, DEVICE, device_properties(path, peripheral))
                # BlueZ reports a repeated advertisement as a change of signal strength
                await self._set(path, DEVICE, {"RSSI": Variant("n", peripheral.rssi_dbm - turn % 2)})

    async def _resolve(self, path: str, peripheral: SimulatedPeripheral) -> None:
        for at, interface, values in gatt_objects(path, peripheral):
            self._add(at, interface, values)
        # what every peripheral has beside its own services; BlueZ lists them and keeps their characteristics to itself
        known = [normalize_uuid_str(uuid) for uuid in ("1800", "1801", *peripheral.services)]
        await self._set(path, DEVICE, {"UUIDs": Variant("as", known), "ServicesResolved": Variant("b", True)})

    async def _lose(self, path: str) -> None:
        await self._set(path, DEVICE, {"ServicesResolved": Variant("b", False)})
        await self._set(path, DEVICE, {"Connected": Variant("b", False)})
        for below in [p for p in self._objects if p.startswith(f"{path}/")][::-1]:
            self._remove(below)

    async def _count_subscribers(self, path: str) -> int:
        return len({name for at, names in self._subscribed.items() if at.startswith(path) for name in names})

    async def _remove_all(self) -> None:
        for path in list(self._objects)[::-1]:
            self._remove(path)

    async def _forget(self, path: str) -> None:
        for at in [p for p in self._objects if p.startswith(path)][::-1]:
            self._remove(at)

    async def _notify(self, peripheral: SimulatedPeripheral, data: bytes, uuid: str, size: int) -> bool:
        wanted = normalize_uuid_str(uuid) if uuid else ""
        for path in [p for p, names in self._subscribed.items() if names and p.startswith(self._path(peripheral))]:
            if wanted and wanted != self._objects[path][CHARACTERISTIC]["UUID"].value:
                continue
            for start in range(0, len(data), size):
                await self._set(path, CHARACTERISTIC, {"Value": Variant("ay", data[start : start + size])})
                await asyncio.sleep(0)  # a burst would fill the socket, and dbus-fast gives up on a full one
            return True
        return False

    async def _start_stream(self, peripheral: SimulatedPeripheral, frames: Iterable[bytes], interval_s: float) -> None:
        _keep(self._streams, self._loop.create_task(self._stream(peripheral, frames, interval_s)))

    async def _stream(self, peripheral: SimulatedPeripheral, frames: Iterable[bytes], interval_s: float) -> None:
        due_s = self._loop.time()
        for frame in frames:
            await asyncio.sleep(due_s - self._loop.time())
            due_s += interval_s
            if not peripheral.silent:
                await self._notify(peripheral, frame, "", 20)

    def _path(self, peripheral: SimulatedPeripheral) -> str:
        adapter = next(iter(sorted(p for p, found in self._objects.items() if _ADAPTER in found)), "/org/bluez/hci0")
        return f"{adapter}/dev_{peripheral.address.upper().replace(':', '_')}"

    @staticmethod
    def _adapter(name: str, powered: bool) -> dict[str, Variant]:
        return {
            "Address": Variant("s", "00:00:5E:00:53:00"),  # the range set aside for documents, RFC 7042
            "Alias": Variant("s", name),
            "Powered": Variant("b", powered),
            "Roles": Variant("as", ["central", "peripheral"]),
        }


def _keep(tasks: set[asyncio.Task[None]], task: asyncio.Task[None]) -> None:
    tasks.add(task)
    task.add_done_callback(tasks.discard)


async def _cancel(tasks: set[asyncio.Task[None]]) -> None:
    for task in list(tasks):
        task.cancel()
    await asyncio.gather(*tasks, return_exceptions=True)


def _device_path(path: str) -> str:
    return "/".join(path.split("/")[:5])


def _refusal(message: Message, name: str, text: str) -> Message:
    return Message.new_error(message, name, text)
