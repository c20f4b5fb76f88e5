"""Bluetooth peripherals to emulate a meter on: on a simulated adapter that only programs told of it can see."""

from __future__ import annotations

import signal
import tempfile
from pathlib import Path

from meterlog_drivers.simulated.bluetooth.bluez import SimulatedBluez
from meterlog_drivers.simulated.bluetooth.peripheral import Characteristic, SimulatedPeripheral
from meterlog_drivers.simulated.bluetooth.private_bus import VARIABLE, PrivateBus

_SERIAL = {"ffe0": (Characteristic("ffe1", ("notify", "write-without-response")),)}


class SimulatedAdapter:
    """A simulated adapter on a private bus, with a peripheral for each port (Linux with dbus-daemon).

    Attributes:
        setting: the environment variable, as `NAME=VALUE`, with which another program sees this adapter.
    """

    def __init__(self) -> None:
        """Start it.

        Raises:
            LinkAbsent: there is no `dbus-daemon`.
        """
        # a bus of one's own must not outlive this program: take a request to end as Ctrl-C
        signal.signal(signal.SIGTERM, signal.default_int_handler)
        self._folder = tempfile.TemporaryDirectory(prefix="meterlog-ble-")
        self._bus = PrivateBus(Path(self._folder.name))
        self._bluez = SimulatedBluez(self._bus.address)
        self.setting = f"{VARIABLE}={self._bus.address.partition(',')[0]}"

    def port(self, number: int) -> BlePort:
        """The peripheral of that number, from 0."""
        # addresses from the range set aside for documents, RFC 7042
        peripheral = SimulatedPeripheral(f"00:00:5E:00:53:{number + 1:02X}", _SERIAL, name=f"METER {number + 1}")
        return BlePort(self._bluez, self._bluez.add(peripheral))

    def close(self) -> None:
        """Take adapter and bus away."""
        self._bluez.close()
        self._bus.close()
        self._folder.cleanup()


class BlePort:
    """One peripheral as a port. See `meterlog_drivers.simulated.emulation.ports.Port`."""

    def __init__(self, bluez: SimulatedBluez, peripheral: SimulatedPeripheral) -> None:
        self._bluez, self._peripheral = bluez, peripheral

    @property
    def name(self) -> str:
        """Its Bluetooth address."""
        return self._peripheral.address

    def listening(self) -> bool:
        """True while a program is subscribed."""
        return self._bluez.subscribers(self._peripheral) > 0

    def write(self, data: bytes) -> bool:
        """Send bytes as notifications; False where nobody is subscribed."""
        return self._bluez.notify(self._peripheral, data)

    def close(self) -> None:
        """Drop the link."""
        if self._bluez.is_connected(self._peripheral):
            self._bluez.drop(self._peripheral)
