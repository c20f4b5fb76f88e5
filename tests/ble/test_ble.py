"""A BLE meter's bytes through the real bleak: found, read, lost and found again, with nothing lost or leaked."""

from __future__ import annotations

import os
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from subprocess import PIPE

import pytest

from meterlog.errors import AddressError, LinkAbsent, LinkError, LinkForbidden, LinkLost
from meterlog.transports import ble_scan
from meterlog.transports.ble import BleLink, BleSettings, BleTransport, Wanted, scan
from meterlog_drivers.simulated.bluetooth.bluez import SimulatedBluez
from meterlog_drivers.simulated.bluetooth.peripheral import Characteristic, SimulatedPeripheral
from tests.waiting import until

ADDRESS = "00:00:5E:00:53:01"
SETTINGS = BleSettings(Wanted(address=ADDRESS), search_s=1.0)
NORDIC = "6e400001-b5a3-f393-e0a9-e50e24dcca9e"
DROPS = 25


pytestmark = pytest.mark.usefixtures("meter")


@pytest.fixture
def link(meter: SimulatedPeripheral) -> Iterator[BleLink]:
    """An open link to the meter."""
    assert meter.in_reach
    opened = BleTransport(SETTINGS).open()
    yield opened
    opened.close()


def read(link: BleLink, wanted: int, timeout_s: float = 3.0) -> bytes:
    """All bytes until there are `wanted` of them, or none come."""
    data = b""
    while len(data) < wanted and (chunk := link.read(timeout_s)) is not None:
        data += chunk.data
    return data


def test_bytes_come_whole_and_in_order(bluez: SimulatedBluez, meter: SimulatedPeripheral, link: BleLink) -> None:
    sent = bytes(range(256)) * 4
    assert bluez.notify(meter, sent)
    assert read(link, len(sent)) == sent


def test_each_notification_keeps_its_own_arrival_time(
    bluez: SimulatedBluez, meter: SimulatedPeripheral, link: BleLink
) -> None:
    sent_s = []
    for part in (b"first", b"second"):
        sent_s.append(time.monotonic())
        bluez.notify(meter, part)
        time.sleep(0.15)
    first, second = link.read(1.0), link.read(1.0)
    assert first is not None
    assert second is not None
    assert sent_s[0] < first.arrival_s < sent_s[1] < second.arrival_s < sent_s[1] + 0.15


def test_nothing_in_time_is_none(link: BleLink) -> None:
    assert link.read(0.01) is None


def test_found_by_name_by_service_and_by_address_in_any_case(bluez: SimulatedBluez, meter: SimulatedPeripheral) -> None:
    wanted = [
        Wanted(address=ADDRESS.lower()),
        Wanted(name="BENCH METER"),
        Wanted(service="0000ffe0-0000-1000-8000-00805f9b34fb"),
    ]
    for one in wanted:
        link = BleTransport(replace(SETTINGS, wanted=one)).open()
        assert bluez.notify(meter, b"here")
        assert read(link, 4) == b"here"
        link.close()
    assert bluez.connects == {ADDRESS: 3}


def test_two_of_one_name_are_refused_with_their_addresses(bluez: SimulatedBluez, meter: SimulatedPeripheral) -> None:
    twin = bluez.add(replace(meter, address="00:00:5E:00:53:02"))
    with pytest.raises(AddressError, match=f"2 peripherals answer.*{meter.address}, {twin.address}"):
        BleTransport(replace(SETTINGS, wanted=Wanted(name="BENCH METER"))).open()


def test_a_reconnect_goes_to_the_same_meter_although_its_twin_answers_too(
    bluez: SimulatedBluez, meter: SimulatedPeripheral
) -> None:
    transport = BleTransport(replace(SETTINGS, wanted=Wanted(name="BENCH METER")))
    transport.open().close()
    bluez.add(replace(meter, address="00:00:5E:00:53:02"))
    transport.open().close()
    assert bluez.connects == {ADDRESS: 2}


def test_after_every_drop_a_new_link_without_leaks_or_repeated_bytes(
    bluez: SimulatedBluez, meter: SimulatedPeripheral
) -> None:
    transport = BleTransport(SETTINGS)
    transport.open().close()  # what the first connection of a process sets up stays
    before = len(os.listdir("/proc/self/fd"))
    for n in range(DROPS):
        link = transport.open()
        sent = f"reading {n}".encode()
        assert bluez.notify(meter, sent)
        assert read(link, len(sent)) == sent
        bluez.drop(meter)
        with pytest.raises(LinkLost, match="dropped the link"):
            link.read(1.0)
        link.close()
        assert bluez.subscribers(meter) == 0
    assert bluez.connects == {ADDRESS: DROPS + 1}
    assert len(os.listdir("/proc/self/fd")) <= before


def test_a_closed_link_lets_the_meter_go(bluez: SimulatedBluez, meter: SimulatedPeripheral, link: BleLink) -> None:
    assert bluez.is_connected(meter)
    link.close()
    link.close()
    assert not bluez.is_connected(meter)
    assert bluez.subscribers(meter) == 0


def test_two_meters_at_once(bluez: SimulatedBluez, meter: SimulatedPeripheral) -> None:
    other = bluez.add(replace(meter, address="00:00:5E:00:53:02", name="OTHER"))
    links = [
        BleTransport(SETTINGS).open(),
        BleTransport(replace(SETTINGS, wanted=Wanted(address=other.address))).open(),
    ]
    for n in range(20):
        bluez.notify(meter, b"A%02d" % n)
        bluez.notify(other, b"B%02d" % n)
    for link, letter in zip(links, (b"A", b"B"), strict=True):
        assert read(link, 60) == b"".join(letter + b"%02d" % n for n in range(20))
        link.close()


PROGRAM = f"""
import time
from meterlog.transports.ble import BleSettings, BleTransport, Wanted
link = BleTransport(BleSettings(Wanted(address="{ADDRESS}"))).open()
print("open", flush=True)
input()
"""


def a_program_with_the_meter_open() -> subprocess.Popen[str]:
    """Another program that reads the meter, until it gets a line."""
    program = subprocess.Popen([sys.executable, "-c", PROGRAM], stdin=PIPE, stdout=PIPE, text=True)
    assert program.stdout is not None
    assert program.stdout.readline() == "open\n"
    return program


def test_a_meter_that_a_killed_program_left_connected_is_found(
    bluez: SimulatedBluez, meter: SimulatedPeripheral
) -> None:
    with a_program_with_the_meter_open() as program:
        program.kill()
    assert bluez.is_connected(meter)  # so that it does not advertise
    link = BleTransport(replace(SETTINGS, search_s=0.3)).open()
    bluez.notify(meter, b"alive")
    assert read(link, 5) == b"alive"
    link.close()


def test_a_program_that_ends_without_closing_lets_the_meter_go(
    bluez: SimulatedBluez, meter: SimulatedPeripheral
) -> None:
    with a_program_with_the_meter_open() as program:
        program.communicate("\n")
    assert program.returncode == 0
    until(lambda: not bluez.is_connected(meter))


def test_the_bluetooth_service_crashes_and_comes_back(
    bluez: SimulatedBluez, meter: SimulatedPeripheral, link: BleLink
) -> None:
    bluez.vanish()
    assert link.read(0.2) is None  # nothing says so; only silence does
    link.close()
    transport = BleTransport(SETTINGS)
    with pytest.raises(LinkAbsent, match=r"bluetoothd\) is not running"):
        transport.open()
    bluez.come_back()
    again = transport.open()
    bluez.notify(meter, b"back")
    assert read(again, 4) == b"back"
    again.close()


def test_a_meter_whose_object_vanishes_is_found_again(
    bluez: SimulatedBluez, meter: SimulatedPeripheral, link: BleLink
) -> None:
    bluez.forget(meter)
    link.close()
    again = BleTransport(SETTINGS).open()
    bluez.notify(meter, b"back")
    assert read(again, 4) == b"back"
    again.close()


def test_not_found_asks_who_else_may_hold_it(meter: SimulatedPeripheral) -> None:
    meter.in_reach = False
    with pytest.raises(LinkAbsent, match=r"was not found in 0\.3 s.*another program or phone connected"):
        BleTransport(replace(SETTINGS, search_s=0.3)).open()


def test_a_connection_that_fails_at_first_is_tried_again(bluez: SimulatedBluez, meter: SimulatedPeripheral) -> None:
    meter.refuses["Connect"] = ("org.bluez.Error.Failed", "br-connection-unknown")
    threading.Timer(0.3, meter.refuses.clear).start()
    BleTransport(SETTINGS).open().close()
    assert bluez.connects == {ADDRESS: 1}


def test_a_bluetooth_service_that_hangs_is_told(bluez: SimulatedBluez, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(ble_scan, "ANSWER_S", 0.3)
    BleTransport(SETTINGS).open().close()
    bluez.hangs = True
    with pytest.raises(LinkLost, match="does not answer: restart it"):
        BleTransport(replace(SETTINGS, search_s=0.3)).open()
    bluez.hangs = False
    BleTransport(SETTINGS).open().close()


def test_a_refused_connection_says_so(meter: SimulatedPeripheral) -> None:
    meter.refuses["Connect"] = ("org.bluez.Error.Failed", "br-connection-refused")
    with pytest.raises(LinkAbsent, match=r"does not answer.*another program or phone"):
        BleTransport(SETTINGS).open()
    meter.refuses["Connect"] = ("org.bluez.Error.AuthenticationFailed", "Authentication Failed")
    with pytest.raises(LinkForbidden, match="pair it"):
        BleTransport(SETTINGS).open()


def test_a_refused_subscription_lets_the_meter_go(bluez: SimulatedBluez, meter: SimulatedPeripheral) -> None:
    meter.refuses["StartNotify"] = ("org.bluez.Error.NotPermitted", "Not paired")
    with pytest.raises(LinkForbidden, match="pair it"):
        BleTransport(SETTINGS).open()
    assert not bluez.is_connected(meter)


def test_bluetooth_off_and_no_adapter_are_told_apart(switch: Callable[[bool], None]) -> None:
    switch(False)
    with pytest.raises(LinkAbsent, match="Bluetooth is off"):
        BleTransport(SETTINGS).open()
    with pytest.raises(LinkAbsent, match="adapter 'hci7' not found"):
        BleTransport(replace(SETTINGS, adapter="hci7")).open()
    switch(True)
    BleTransport(replace(SETTINGS, adapter="hci0")).open().close()


def test_a_request_is_sent_again_and_again(bluez: SimulatedBluez, meter: SimulatedPeripheral) -> None:
    meter.on_write = lambda uuid, data: b"answer to " + data if uuid.startswith("0000ffe1") else None
    link = BleTransport(replace(SETTINGS, poll=b"V?", interval_s=0.05)).open()
    assert read(link, 5 * 12) == b"answer to V?" * 5
    link.close()
    asked = len(bluez.writes)
    time.sleep(0.2)
    assert len(bluez.writes) == asked


def test_a_refused_request_says_so(meter: SimulatedPeripheral) -> None:
    meter.refuses["WriteValue"] = ("org.bluez.Error.Failed", "Operation failed with ATT error: 0x80")
    with pytest.raises(LinkForbidden, match="refused"):
        BleTransport(replace(SETTINGS, poll=b"V?")).open()


def test_bytes_can_be_written(bluez: SimulatedBluez, meter: SimulatedPeripheral, link: BleLink) -> None:
    link.write(b"*" * 50)
    assert b"".join(data for _, _, data in bluez.writes) == b"*" * 50
    assert max(len(data) for _, _, data in bluez.writes) <= 20
    bluez.drop(meter)
    with pytest.raises(LinkError):
        link.write(b"late")


def test_a_serial_service_is_read_by_what_its_characteristics_can_do(bluez: SimulatedBluez) -> None:
    swapped = [
        Characteristic("6e400003-b5a3-f393-e0a9-e50e24dcca9e", ("write", "write-without-response")),
        Characteristic("6e400002-b5a3-f393-e0a9-e50e24dcca9e", ("notify",)),
    ]
    battery = [Characteristic("2a19", ("read", "notify"), value=b"\x55")]
    peripheral = bluez.add(SimulatedPeripheral("00:00:5E:00:53:03", {"180f": battery, NORDIC: swapped}))
    peripheral.on_write = lambda uuid, data: data[::-1] if uuid.startswith("6e400003") else None
    link = BleTransport(replace(SETTINGS, wanted=Wanted(address=peripheral.address))).open()
    link.write(b"abc")
    assert read(link, 3) == b"cba"
    link.close()


def test_scan_lists_who_is_in_reach_and_who_is_connected(bluez: SimulatedBluez, meter: SimulatedPeripheral) -> None:
    far = bluez.add(SimulatedPeripheral("00:00:5E:00:53:09", {NORDIC: []}, rssi_dbm=-90))
    found = scan(0.3)
    assert [p.address for p in found] == [meter.address, far.address]
    assert (found[0].name, found[0].services, found[0].connected) == ("BENCH METER", ("ffe0",), False)
    assert found[0].rssi_dbm in (-60, -61)
    assert (found[1].name, found[1].services) == ("", (NORDIC,))
    link = BleTransport(SETTINGS).open()
    assert [(p.address, p.connected) for p in scan(0.3)] == [(far.address, False), (meter.address, True)]
    link.close()


def test_a_silent_search_does_not_hold_up_another_one() -> None:
    absent = BleTransport(replace(SETTINGS, wanted=Wanted(address="00:00:5E:00:53:0F"), search_s=1.5))
    with ThreadPoolExecutor(1) as pool:
        searching = pool.submit(absent.open)
        time.sleep(0.2)
        BleTransport(SETTINGS).open().close()
        assert not searching.done()
        with pytest.raises(LinkAbsent):
            searching.result()
