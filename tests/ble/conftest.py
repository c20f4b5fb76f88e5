"""A simulated Bluetooth service on a private bus, which the real bleak finds as if it were the system's."""

from __future__ import annotations

import shutil
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from bleak.exc import BleakError

from meterlog.transports import ble_scan
from meterlog.transports.ble_thread import run
from meterlog_drivers.simulated.bluetooth.bluez import SimulatedBluez
from meterlog_drivers.simulated.bluetooth.peripheral import Characteristic, SimulatedPeripheral
from meterlog_drivers.simulated.bluetooth.private_bus import VARIABLE, PrivateBus


@pytest.fixture(scope="session")
def bus(need: Callable[[object, str], None]) -> Iterator[PrivateBus]:
    """A private message bus for all tests of the folder."""
    need(sys.platform == "linux", "the simulated Bluetooth service is for Linux")
    need(shutil.which("dbus-daemon"), "no dbus-daemon (apt install dbus)")
    # a socket's path may have 107 bytes at most, and tmp_path is often longer
    with tempfile.TemporaryDirectory(prefix="ble") as folder, PrivateBus(Path(folder)) as running:
        yield running


@pytest.fixture
def bluez(bus: PrivateBus, monkeypatch: pytest.MonkeyPatch) -> Iterator[SimulatedBluez]:
    """A simulated Bluetooth service with one adapter and no peripherals yet."""
    monkeypatch.setenv(VARIABLE, bus.address)
    monkeypatch.setattr(ble_scan, "SETTLE_S", 0.3)  # a simulated peripheral advertises every 0.1 s
    with SimulatedBluez(bus.address) as service:
        _until_seen(True)
        yield service


@pytest.fixture
def switch(bluez: SimulatedBluez) -> Callable[[bool], None]:
    """Switches Bluetooth on or off."""

    def to(on: bool) -> None:
        bluez.power("hci0", on)
        _until_seen(on)

    return to


def _until_seen(on: bool) -> None:
    """Wait until bleak, which lives as long as the process, has heard how the adapter is now."""
    end_s = time.monotonic() + 60.0
    seen = None
    while seen is not on:
        try:
            run(ble_scan.connected_devices(None))
            seen = True
        except BleakError:
            seen = False
        assert time.monotonic() < end_s
        time.sleep(0.002)


@pytest.fixture
def meter(bluez: SimulatedBluez) -> SimulatedPeripheral:
    """A peripheral in reach with a serial service of one characteristic."""
    serial = {"ffe0": [Characteristic("ffe1", ("notify", "write-without-response"))]}
    return bluez.add(SimulatedPeripheral("00:00:5E:00:53:01", serial, name="BENCH METER"))
