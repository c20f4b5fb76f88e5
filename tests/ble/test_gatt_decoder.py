"""Standard and described characteristics become readings with the right value, step and unit, and nothing invented."""

from __future__ import annotations

import math
import struct

import pytest
from hypothesis import given
from hypothesis import strategies as st

from meterlog.errors import EncodeError
from meterlog.reading import Flag, Quantity, Reading
from meterlog_drivers.gatt import Characteristics, GattDecoder, GattEncoder, Presentation

VOLTAGE, CURRENT, TEMPERATURE = (f"0000{short}-0000-1000-8000-00805f9b34fb" for short in ("2b18", "2aee", "2a6e"))
OWN = "12345678-0000-4000-8000-123456789abc"
VOLT, OHM = 0x2728, 0x272A


def line(value: bytes, uuid: str = VOLTAGE, presentation: bytes = b"", column: int = 0) -> bytes:
    """Return what the transport packs."""
    return Characteristics().pack(column, uuid, presentation, value)


def readings(data: bytes) -> list[Reading]:
    """Return what a fresh decoder makes of some bytes."""
    return GattDecoder().feed(data, 7.0)


@pytest.mark.parametrize(
    ("uuid", "value", "quantity", "shown", "resolution"),
    [
        (VOLTAGE, "2003", Quantity.DC_VOLTAGE, 12.5, 1 / 64),
        (VOLTAGE, "0100", Quantity.DC_VOLTAGE, 0.015625, 1 / 64),
        (CURRENT, "d204", Quantity.DC_CURRENT, 12.34, 0.01),
        (TEMPERATURE, "18fc", Quantity.TEMPERATURE, -10.0, 0.01),
    ],
)
def test_standard_characteristics(uuid: str, value: str, quantity: Quantity, shown: float, resolution: float) -> None:
    assert readings(line(bytes.fromhex(value), uuid)) == [Reading(7.0, shown, quantity, resolution)]


@pytest.mark.parametrize(("uuid", "unknown"), [(VOLTAGE, "ffff"), (CURRENT, "ffff"), (TEMPERATURE, "0080")])
def test_value_unknown_is_no_reading(uuid: str, unknown: str) -> None:
    decoder = GattDecoder()
    assert decoder.feed(line(bytes.fromhex(unknown), uuid), 0.0) == []
    assert decoder.traffic.frames_good == 1


@pytest.mark.parametrize(
    ("form", "value", "shown", "resolution"),
    [
        (Presentation(0x0E, -3, VOLT), struct.pack("<h", -12345), -12.345, 1e-3),
        (Presentation(0x06, -2, VOLT), struct.pack("<H", 65535), 655.35, 1e-2),
        (Presentation(0x0F, -1, VOLT), (-7).to_bytes(3, "little", signed=True), -0.7, 0.1),
        (Presentation(0x14, 0, VOLT), struct.pack("<f", 1.5), 1.5, math.nan),
        (Presentation(0x15, 0, VOLT), struct.pack("<d", -0.1), -0.1, math.nan),
        (Presentation(0x16, 0, VOLT), bytes.fromhex("7bf0"), 12.3, 0.1),
        (Presentation(0x17, 0, VOLT), bytes.fromhex("390500fd"), 1.337, 1e-3),
    ],
)
def test_described_characteristics(form: Presentation, value: bytes, shown: float, resolution: float) -> None:
    (reading,) = readings(line(value, OWN, form.bytes()))
    assert reading.value == shown
    assert reading.resolution == pytest.approx(resolution, nan_ok=True)
    assert reading.quantity is Quantity.DC_VOLTAGE


def test_infinite_is_overload_and_not_a_number_is_none() -> None:
    form = Presentation(0x14, 0, OHM).bytes()
    (reading,) = readings(line(struct.pack("<f", math.inf), OWN, form))
    assert (reading.value, reading.flags, reading.quantity) == (math.inf, Flag.OVERLOAD, Quantity.RESISTANCE)
    assert readings(line(struct.pack("<f", math.nan), OWN, form)) == []
    decimal = Presentation(0x16, 0, OHM).bytes()
    assert [r.value for r in readings(line(bytes.fromhex("fe07"), OWN, decimal))] == [math.inf]
    assert [r.value for r in readings(line(bytes.fromhex("0208"), OWN, decimal))] == [-math.inf]
    for unknown in ("ff07", "0008", "0108"):
        assert readings(line(bytes.fromhex(unknown), OWN, decimal)) == []


@pytest.mark.parametrize(
    ("value", "presentation"), [(b"\1", b""), (b"\1\2\3", b""), (b"\1", Presentation(0x0E, 0, VOLT).bytes())]
)
def test_a_value_of_the_wrong_length_is_refused(value: bytes, presentation: bytes) -> None:
    decoder = GattDecoder()
    assert decoder.feed(line(value, OWN if presentation else VOLTAGE, presentation), 0.0) == []
    assert decoder.traffic.frames_refused == 1


def test_only_what_the_decoder_understands_is_wanted() -> None:
    wanted = Characteristics().wanted
    assert wanted(VOLTAGE, b"")
    assert wanted(VOLTAGE.upper(), b"")
    assert wanted(OWN, Presentation(0x0E, -3, VOLT).bytes())
    assert not wanted(OWN, b"")
    assert not wanted(OWN, Presentation(0x0E, -3, 0x2700).bytes())  # no unit
    assert not wanted(OWN, Presentation(0x19, 0, VOLT).bytes())  # text
    assert not wanted(OWN, b"\x0e")


def test_columns_are_kept_apart() -> None:
    data = line(b"\x40\0", column=0) + line(b"\x80\0", column=1)
    assert [(r.column, r.value) for r in readings(data)] == [(0, 1.0), (1, 2.0)]


@given(st.data())
def test_any_split_gives_the_same_readings(data: st.DataObject) -> None:
    frames = b"".join(line(n.to_bytes(2, "little")) for n in range(0, 900, 300))
    cut = data.draw(st.integers(0, len(frames)))
    decoder = GattDecoder()
    assert decoder.feed(frames[:cut], 7.0) + decoder.feed(frames[cut:], 7.0) == readings(frames)


@given(st.binary(max_size=80))
def test_garbage_before_a_frame_does_not_cost_it(garbage: bytes) -> None:
    assert [r.value for r in readings(garbage + line(b"\x40\0"))][-1:] == [1.0]


@given(st.integers(0, 16), st.integers(0, 7))
def test_one_changed_bit_gives_no_reading(place: int, bit: int) -> None:
    frame = bytearray(line(b"\x20\x03"))
    frame[place] ^= 1 << bit
    assert readings(bytes(frame)) == []


def test_a_flood_without_a_line_end_is_let_go() -> None:
    decoder = GattDecoder()
    for _ in range(100):
        decoder.feed(b"x" * 100, 0.0)
    assert decoder.traffic.bytes_discarded >= 9000
    assert [r.value for r in decoder.feed(b"\n" + line(b"\x40\0"), 0.0)] == [1.0]


@given(
    st.sampled_from([Quantity.DC_VOLTAGE, Quantity.RESISTANCE, Quantity.FREQUENCY, Quantity.CAPACITANCE]),
    st.integers(-99999, 99999),
    st.integers(-6, 3),
)
def test_described_readings_come_back_as_sent(quantity: Quantity, counts: int, exponent: int) -> None:
    sent = Reading(7.0, float(f"{counts}e{exponent}"), quantity, float(f"1e{exponent}"))
    assert readings(GattEncoder().encode([sent])) == [sent]


@given(st.integers(0, 0xFFFE))
def test_standard_voltages_come_back_as_sent(steps: int) -> None:
    sent = Reading(7.0, steps / 64, Quantity.DC_VOLTAGE, 1 / 64)
    frame = GattEncoder().encode([sent])
    assert frame.startswith(b"@0 2b18 - ")
    assert readings(frame) == [sent]


@pytest.mark.parametrize(
    "reading",
    [
        Reading(0.0, -0.5, Quantity.DC_VOLTAGE, 1 / 64),
        Reading(0.0, 2000.0, Quantity.DC_VOLTAGE, 1 / 64),
        Reading(0.0, 1.0, Quantity.AC_VOLTAGE, 0.01),
        Reading(0.0, 1.0, Quantity.DC_VOLTAGE, 0.01, Flag.HOLD),
        Reading(0.0, 1e9, Quantity.RESISTANCE, 0.01),
    ],
)
def test_what_cannot_be_said_is_refused(reading: Reading) -> None:
    with pytest.raises(EncodeError):
        GattEncoder().encode([reading])
