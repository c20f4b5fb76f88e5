"""`meterlog meters` on Bluetooth: who is in reach, and which driver fits on what evidence."""

from __future__ import annotations

import struct
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from itertools import repeat
from pathlib import Path

import pytest

from meterlog.capture import meter_setup
from meterlog.cli import main, meters
from meterlog.driver import discover, open_address
from meterlog.driver.framing import framing_of
from meterlog.errors import NoFrameFits
from meterlog.reading import Quantity, Reading
from meterlog.transports.raw_capture import RawCaptureWriter, read_raw_capture
from meterlog_drivers.simulated.bluetooth.bluez import SimulatedBluez
from meterlog_drivers.simulated.bluetooth.peripheral import Characteristic, SimulatedPeripheral

FRAME = framing_of("status14:x").encoder().encode([Reading(0.0, 12.34, Quantity.DC_VOLTAGE, 0.01)])


@pytest.fixture
def said(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Callable[..., str]:
    """Return what `meterlog meters` prints of Bluetooth."""
    monkeypatch.setattr(meters, "SECTIONS", (meters.ble_lines,))
    monkeypatch.setattr(discover, "SCAN_S", 0.4)

    def run(*words: str) -> str:
        assert main(["meters", *words]) == 0
        return capsys.readouterr().out

    return run


def test_peripherals_are_listed_but_not_connected_to(
    bluez: SimulatedBluez, meter: SimulatedPeripheral, said: Callable[..., str]
) -> None:
    bluez.add(SimulatedPeripheral("00:00:5E:00:53:08", {"fe9f": []}, name="PHONE", rssi_dbm=-80))
    lines = said().splitlines()
    assert lines[1].startswith(f"ble:{meter.address}  BENCH METER, -6")
    assert lines[1].endswith(" dBm, services ffe0")
    assert "--listen" in lines[2]
    assert lines[3].startswith("ble:00:00:5E:00:53:08  PHONE")
    assert bluez.connects == {}


def test_listening_names_the_driver_that_fits_and_leaves_strangers_alone(
    bluez: SimulatedBluez, meter: SimulatedPeripheral, said: Callable[..., str]
) -> None:
    bluez.add(SimulatedPeripheral("00:00:5E:00:53:08", {"fe9f": []}, name="PHONE"))
    bluez.add(replace(meter, address="00:00:5E:00:53:04", name="MUTE"))
    standard = bluez.add(SimulatedPeripheral("00:00:5E:00:53:02", {"181a": [Characteristic("2b18", ("notify",))]}))
    bluez.stream(meter, repeat(FRAME), 0.1)
    bluez.stream(standard, repeat(struct.pack("<H", 800)), 0.1)
    printed = said("--listen", "0.6")
    assert "status14 fits: 3 readings, DC voltage" in printed
    assert f'record it:  meterlog record --meter "ble:{meter.address}?decoder=status14"' in printed
    assert "gatt fits: 3 readings, DC voltage" in printed
    assert f'record it:  meterlog record --meter "ble:{standard.address}?decoder=gatt"' in printed
    assert "00:00:5E:00:53:04: nothing came" in printed
    assert "left alone" in printed
    assert set(bluez.connects) == {meter.address, standard.address, "00:00:5E:00:53:04"}


def test_no_bluetooth_is_a_line_and_not_an_error(switch: Callable[[bool], None], said: Callable[..., str]) -> None:
    switch(False)
    assert said().startswith("no Bluetooth meters: Bluetooth is off")
    switch(True)
    assert "no Bluetooth LE peripheral was heard" in said()


def test_without_a_decoder_the_one_that_fits_is_found(bluez: SimulatedBluez, meter: SimulatedPeripheral) -> None:
    bluez.stream(meter, repeat(FRAME), 0.05)
    _, found = open_address("ble:?name=BENCH+METER&search_s=1&listen_s=2&label=feed")
    connection = found.open()
    try:
        assert "status14" in found.name
        assert [r.value for r in connection.read(1.0) or []] == [12.34]
    finally:
        connection.close()


def test_the_raw_bytes_of_a_found_meter_say_which_driver_it_was(
    bluez: SimulatedBluez, meter: SimulatedPeripheral, tmp_path: Path
) -> None:
    bluez.stream(meter, repeat(FRAME), 0.05)
    sink = RawCaptureWriter(tmp_path / "meter.raw", "ble:?name=BENCH+METER", datetime.now(UTC), 0.0, 0.0)
    setup = meter_setup("ble:?name=BENCH+METER&search_s=1&listen_s=2").tapped(sink)
    connection = setup.meter.open()
    try:
        assert connection.read(1.0)
    finally:
        connection.close()
        sink.close()
    capture = read_raw_capture(tmp_path / "meter.raw")
    assert capture.address.startswith(f"ble:{meter.address}?")
    assert "decoder=status14" in capture.address
    assert capture.chunks[0].data == FRAME


def test_noise_fits_no_decoder_and_is_said(bluez: SimulatedBluez, meter: SimulatedPeripheral) -> None:
    bluez.stream(meter, repeat(bytes(range(20))), 0.05)
    with pytest.raises(NoFrameFits, match="cannot tell"):
        open_address(f"ble:{meter.address}?decoder=auto&search_s=1&listen_s=1")[1].open()
    assert not bluez.is_connected(meter)
