"""`replay:` gives back the readings of a recorded session or of a raw capture, one for one."""

from __future__ import annotations

import itertools
import math
from pathlib import Path

import pytest

from meterlog.address import Address
from meterlog.driver import load_driver, open_address
from meterlog.driver.framing import FramingDriver
from meterlog.errors import AddressError, EmptySession, LinkAbsent, UnknownDriver
from meterlog.reading import Flag, Quantity, Reading
from meterlog.session import SessionWriter
from tests.conftest import write_capture

READINGS = [
    Reading(0.1 * i, v, Quantity.DC_VOLTAGE, 0.01, Flag.DC) for i, v in enumerate([0.0, 0.02, 12.41, 12.4, 12.39, 0.01])
]


def read_all(address: str) -> list[Reading]:
    _, meter = open_address(address)
    connection = meter.open()
    readings: list[Reading] = []
    while (some := connection.read(0.1)) is not None:
        readings.extend(some)
    connection.close()
    return readings


def session(path: Path) -> Path:
    with SessionWriter.create(path, monotonic_start_s=50.0) as writer:
        feed = writer.add_channel("feed", Quantity.DC_VOLTAGE)
        coil = writer.add_channel("coil", Quantity.RESISTANCE)
        writer.append(feed, [r._replace(time_s=51.0 + r.time_s) for r in READINGS])
        writer.append(coil, [Reading(51.05, math.inf, Quantity.RESISTANCE, 0.1, Flag.OVERLOAD)])
    return path


def encoded() -> list[bytes]:
    driver = load_driver("status14")
    assert isinstance(driver, FramingDriver)
    encoder = driver.encoder(Address.parse("status14:x"))
    return [encoder.encode([reading]) for reading in READINGS]


def raw(path: Path, address: str = "status14:/dev/ttyUSB0?label=feed&baud=2400") -> Path:
    frames = zip(encoded(), READINGS, strict=True)
    halves = ((3.0 + reading.time_s, half) for frame, reading in frames for half in (frame[:5], frame[5:]))
    return write_capture(path, halves, address)


def shown(readings: list[Reading]) -> list[tuple[float, Quantity, float]]:
    return [(round(r.time_s - readings[0].time_s, 6), r.quantity, r.value) for r in readings]


def test_each_channel_of_a_session_is_a_column(tmp_path: Path) -> None:
    readings = read_all(f"replay:{session(tmp_path / 'a.sqlite')}?speed=50")
    feed = [r for r in readings if r.column == 0]
    assert shown(feed) == shown(READINGS)
    assert [r.flags for r in feed] == [Flag.DC] * 6
    (coil,) = [r for r in readings if r.column == 1]
    assert coil.quantity is Quantity.RESISTANCE
    assert coil.value == math.inf
    assert coil.flags == Flag.OVERLOAD
    assert coil.time_s - feed[0].time_s == pytest.approx(0.05)


def test_a_raw_capture_knows_its_own_driver(tmp_path: Path) -> None:
    readings = read_all(f"replay:{raw(tmp_path / 'a.raw')}?speed=50")
    assert shown(readings) == shown(READINGS)


def test_a_capture_over_bluetooth_names_its_decoder(tmp_path: Path) -> None:
    path = raw(tmp_path / "a.raw", "ble:AA:BB:CC:DD:EE:FF?decoder=status14")
    assert shown(read_all(f"replay:{path}?speed=50")) == shown(READINGS)


def test_plain_bytes_want_a_decoder(tmp_path: Path) -> None:
    path = tmp_path / "plain.bin"
    path.write_bytes(b"".join(encoded()))
    with pytest.raises(AddressError, match="add decoder=NAME"):
        open_address(f"replay:{path}")
    readings = read_all(f"replay:{path}?decoder=status14&speed=100&baud=9600")
    assert [r.value for r in readings] == [r.value for r in READINGS]
    # each frame is 14 characters of 10 bits at 9600 baud after the one before it
    spacing = [b.time_s - a.time_s for a, b in itertools.pairwise(readings)]
    assert spacing == pytest.approx([14 * 10 / 9600] * 5, abs=1e-4)


def test_options_of_the_decoder_are_known_and_others_refused(tmp_path: Path) -> None:
    path = raw(tmp_path / "a.raw")
    open_address(f"replay:{path}?decoder=status14&spare=ignored&label=feed")
    with pytest.raises(AddressError, match="spair"):
        open_address(f"replay:{path}?decoder=status14&spair=ignored")
    with pytest.raises(AddressError, match="sped"):
        open_address(f"replay:{path}?sped=2")
    with pytest.raises(AddressError, match="speed"):
        open_address(f"replay:{path}?speed=0")


def test_what_cannot_be_replayed_is_said(tmp_path: Path) -> None:
    with pytest.raises(LinkAbsent, match="there is no file"):
        open_address(f"replay:{tmp_path / 'none'}")
    with pytest.raises(UnknownDriver):
        open_address(f"replay:{raw(tmp_path / 'a.raw')}?decoder=nope")
    with pytest.raises(AddressError, match="'replay' does not"):
        open_address(f"replay:{tmp_path / 'a.raw'}?decoder=replay")
    with pytest.raises(AddressError, match="need no decoder"):
        open_address(f"replay:{session(tmp_path / 'a.sqlite')}?decoder=status14")
    SessionWriter.create(tmp_path / "empty.sqlite").close()
    with pytest.raises(EmptySession):
        open_address(f"replay:{tmp_path / 'empty.sqlite'}")
