"""A meter on a real pseudo-terminal that can be unplugged and plugged in again under the same name."""

from __future__ import annotations

import os
import tty
from collections.abc import Iterator
from pathlib import Path

import pytest

from meterlog.address import Address
from meterlog.driver import load_driver
from meterlog.framing import FramingDriver
from meterlog.reading import Flag, Quantity, Reading


class PluggedMeter:
    """A status14 meter. `port` is a link to its present pseudo-terminal, as udev makes them."""

    def __init__(self, port: Path) -> None:
        self.port = port
        self._master = -1
        driver = load_driver("status14")
        assert isinstance(driver, FramingDriver)
        self._encoder = driver.encoder(Address.parse("status14:x"))
        self.plug()

    def plug(self) -> None:
        self._master, slave = os.openpty()
        tty.setraw(slave)
        os.set_blocking(self._master, False)
        self.port.symlink_to(os.ttyname(slave))
        os.close(slave)

    def unplug(self) -> None:
        if self._master >= 0:
            os.close(self._master)
            self.port.unlink()
        self._master = -1

    def show(self, value: float, quantity: Quantity = Quantity.DC_VOLTAGE, resolution: float = 0.01) -> None:
        flags = Flag.DC if quantity is Quantity.DC_VOLTAGE else Flag.NONE
        if abs(value) == float("inf"):
            flags |= Flag.OVERLOAD
        self.send(self._encoder.encode([Reading(0.0, value, quantity, resolution, flags)]))

    def send(self, data: bytes) -> None:
        os.write(self._master, data)


@pytest.fixture
def meter(tmp_path: Path) -> Iterator[PluggedMeter]:
    plugged = PluggedMeter(tmp_path / "meter0")
    yield plugged
    plugged.unplug()


@pytest.fixture
def second_meter(tmp_path: Path) -> Iterator[PluggedMeter]:
    plugged = PluggedMeter(tmp_path / "meter1")
    yield plugged
    plugged.unplug()
