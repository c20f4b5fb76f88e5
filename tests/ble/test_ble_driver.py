"""`ble:` addresses: what they mean, what is refused, and readings through them."""

from __future__ import annotations

import math
import struct
import subprocess
import sys
import time
from collections.abc import Iterator

import pytest

from meterlog.driver import Connection, open_address
from meterlog.driver.framing import framing_of
from meterlog.errors import AddressError, LinkAbsent, NoFrameFits
from meterlog.reading import Quantity, Reading
from meterlog_drivers.gatt import Presentation
from meterlog_drivers.simulated.bluetooth.bluez import SimulatedBluez
from meterlog_drivers.simulated.bluetooth.peripheral import Characteristic, SimulatedPeripheral

ADDRESS = "00:00:5E:00:53:01"
IDENTIFIER = "D4F3A9C1-0B2E-4C5D-8E6F-112233445566"


def frame(value: float) -> bytes:
    """Return what a status14 meter sends."""
    return framing_of("status14:x").encoder().encode([Reading(0.0, value, Quantity.DC_VOLTAGE, 0.01)])


def take(connection: Connection, count: int, timeout_s: float = 60.0) -> list[Reading]:
    """So many readings, or those that came in time."""
    found: list[Reading] = []
    end_s = time.monotonic() + timeout_s
    while len(found) < count and time.monotonic() < end_s:
        found += connection.read(0.1) or []
    return found


@pytest.fixture
def connection(meter: SimulatedPeripheral) -> Iterator[Connection]:
    """The meter opened by its address with status14 on it."""
    opened = open_address(f"ble:{meter.address}?decoder=status14&search_s=1")[1].open()
    yield opened
    opened.close()


@pytest.mark.parametrize(
    ("address", "words"),
    [
        ("ble:?decoder=status14", "does not name a peripheral"),
        (f"ble:{ADDRESS}?decoder=ble", "'ble' does not"),
        ("ble:/dev/ttyUSB0?decoder=status14", "is not a Bluetooth address"),
        (f"ble:{ADDRESS}?decoder=status14&service=xyz", "option service must be a UUID"),
        (f"ble:{ADDRESS}?decoder=status14&poll=0x123", "option poll must have pairs of hex digits"),
        (f"ble:{ADDRESS}?decoder=status14&adapter=a/b", "option adapter must be a name"),
        (f"ble:{ADDRESS}?decoder=status14&notfy=fff1", "did you mean 'notify'"),
        (f"ble:{ADDRESS}?decoder=status14&baud=9600", "has no option 'baud'"),
    ],
)
def test_addresses_that_cannot_work_are_refused_at_once(address: str, words: str) -> None:
    with pytest.raises(AddressError, match=words):
        open_address(address)


@pytest.mark.parametrize(
    "address",
    [
        f"ble:{ADDRESS}?decoder=status14&spare=ignored&label=feed",
        f"ble:{IDENTIFIER}?decoder=status14",
        "ble:?name=BENCH+METER&decoder=text&poll=READ?%0D%0A&interval_s=0.25",
        "ble:?service=fff0&notify=fff1&write=fff2&decoder=status14&poll=0x0102&adapter=hci0",
        f"gatt:{ADDRESS}?label=feed",
    ],
)
def test_addresses_that_can_work_open_nothing_yet(address: str) -> None:
    assert open_address(address)[1].name


def test_a_program_that_uses_no_bluetooth_does_not_load_it() -> None:
    check = (
        "import sys; from meterlog.driver import driver_names, load_driver;"
        "[load_driver(name) for name in driver_names() if name in ('ble', 'gatt', 'status14')];"
        "print([name for name in sys.modules if name.split('.')[0] in ('bleak', 'dbus_fast')])"
    )
    done = subprocess.run([sys.executable, "-c", check], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_a_frame_split_over_notifications_at_any_place(
    bluez: SimulatedBluez, meter: SimulatedPeripheral, connection: Connection
) -> None:
    for cut in range(1, 14):
        whole = frame(cut / 100)
        bluez.notify(meter, whole[:cut])
        bluez.notify(meter, whole[cut:] + whole[:cut])
        bluez.notify(meter, whole[cut:])
        assert [r.value for r in take(connection, 2)] == [cut / 100, cut / 100]
    assert connection.traffic.bytes_discarded == 0


def test_bytes_that_fit_no_frame_are_said(
    bluez: SimulatedBluez, meter: SimulatedPeripheral, connection: Connection
) -> None:
    bluez.notify(meter, b"\x55" * 400)
    with pytest.raises(NoFrameFits, match="first bytes 55 55"):
        take(connection, 1)


def standard_meter() -> SimulatedPeripheral:
    """A peripheral with one quantity a characteristic: two that notify and one that is read."""
    form = Presentation(0x0E, -3, 0x2728).bytes()
    own = "12345678-0000-4000-8000-123456789abc"
    return SimulatedPeripheral(
        ADDRESS,
        {
            "181a": [
                Characteristic("2b18", ("read", "notify")),
                Characteristic("2a6e", ("read",), value=struct.pack("<h", -550)),
                Characteristic("2a00", ("read",), value=b"name"),
            ],
            "12345678-0000-4000-8000-123456789abd": [Characteristic(own, ("notify",), {"2904": form})],
        },
    )


def test_a_quantity_a_characteristic(bluez: SimulatedBluez) -> None:
    peripheral = bluez.add(standard_meter())
    opened = open_address(f"gatt:{ADDRESS}?interval_s=0.05&search_s=1")[1].open()
    try:
        bluez.notify(peripheral, struct.pack("<H", 800), "2b18")
        bluez.notify(peripheral, struct.pack("<h", -2), "12345678-0000-4000-8000-123456789abc")
        found = take(opened, 6)
    finally:
        opened.close()
    by_column = {r.column: r._replace(time_s=0.0) for r in found}
    assert by_column == {
        0: Reading(0.0, 12.5, Quantity.DC_VOLTAGE, 1 / 64, column=0),
        1: Reading(0.0, -5.5, Quantity.TEMPERATURE, 0.01, column=1),
        2: Reading(0.0, -0.002, Quantity.DC_VOLTAGE, 0.001, column=2),
    }
    assert sum(r.column == 1 for r in found) >= 3  # read again and again, since it cannot notify


def test_a_serial_peripheral_has_no_quantity_of_its_own(meter: SimulatedPeripheral) -> None:
    with pytest.raises(LinkAbsent, match="no characteristic with a known quantity"):
        open_address(f"gatt:{meter.address}?search_s=1")[1].open()


def test_overload_comes_as_such(bluez: SimulatedBluez, meter: SimulatedPeripheral, connection: Connection) -> None:
    bluez.notify(meter, frame(math.inf))
    assert [r.value for r in take(connection, 1)] == [math.inf]
