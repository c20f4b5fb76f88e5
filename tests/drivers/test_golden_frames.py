"""Frames written out by hand from the byte tables, and what they must read as; each table's refusals."""

from __future__ import annotations

import math
import tracemalloc

import pytest

from meterlog.driver import open_address
from meterlog.driver.framing import framing_of
from meterlog.errors import AddressError, EncodeError
from meterlog.reading import Flag, Quantity, Reading
from meterlog_drivers.text import TextDecoder

Q = Quantity
INF = math.inf


def segments(*low: int) -> bytes:
    return bytes(n << 4 | nibble for n, nibble in enumerate(low, 1))


@pytest.mark.parametrize(
    ("address", "frame", "value", "quantity", "resolution", "flags"),
    [
        ("status14", b"+1234 2\x30\x00\x00\x80\x00\r\n", 12.34, Q.DC_VOLTAGE, 0.01, Flag.DC | Flag.AUTORANGE),
        ("status14", b"-0512 4\x10\x04\x40\x80\x00\r\n", -0.0512, Q.DC_VOLTAGE, 1e-4, Flag.DC | Flag.LOW_BATTERY),
        ("status14", b"+?0:? 1\x20\x00\x10\x20\x00\r\n", INF, Q.RESISTANCE, 1e3, Flag.AUTORANGE | Flag.OVERLOAD),
        ("status14", b"+0047 4\x02\x00\x08\x20\x00\r\n", 4.7, Q.CONTINUITY, 0.1, Flag.HOLD),
        ("status14", b"+0560 1\x00\x00\x04\x80\x00\r\n", 0.56, Q.DIODE, 0.001, Flag.NONE),
        ("status14", b"+2120 4\x00\x00\x00\x01\x00\r\n", 100.0, Q.TEMPERATURE, 0.1 * 5 / 9, Flag.NONE),
        ("status14", b"+0420 4\x00\x30\x02\x00\x00\r\n", 42.0, Q.DUTY_CYCLE, 0.1, Flag.MINIMUM | Flag.MAXIMUM),
        ("status14", b"+4700 2\x04\x02\x00\x04\x00\r\n", 4.7e-8, Q.CAPACITANCE, 1e-11, Flag.RELATIVE),
        # 12.34 V: digits 05 5B 1F 27, the point before digit 3
        ("segments14", segments(7, 0, 5, 5, 11, 9, 15, 2, 7, 0, 0, 0, 4, 0), 12.34, Q.DC_VOLTAGE, 0.01, 272),
        # -0.506 mV AC is no AC value; as DC it is: digits 7D 3E 7D 7E, the point before digit 2
        ("segments14", segments(5, 15, 13, 11, 14, 7, 13, 7, 14, 0, 8, 0, 4, 0), -0.000506, Q.DC_VOLTAGE, 1e-6, 256),
        # 0L in M ohm: blank 0 L blank, the point before digit 3
        ("segments14", segments(3, 0, 0, 7, 13, 14, 8, 0, 0, 0, 2, 4, 0, 0), INF, Q.RESISTANCE, 1e4, 17),
        ("digits11", b"21234;00<\r\n", 12.34, Q.DC_VOLTAGE, 0.01, 272),
        ("digits11?status=sign-first", b"01999;80<\r\n", -0.1999, Q.DC_VOLTAGE, 1e-4, 272),
        ("digits11", b"10512;004\r\n", 0.512, Q.AC_VOLTAGE, 1e-3, Flag.AC | Flag.AUTORANGE),
        ("digits11", b"50000310" + b"4\r\n", INF, Q.RESISTANCE, 1e4, Flag.AUTORANGE | Flag.OVERLOAD),
        ("digits11?status=judge-first", b"11234;40<\r\n", -1.234, Q.DC_VOLTAGE, 1e-3, 272),
        ("digits14", b"112345;000" + b"80\r\n", 12.345, Q.DC_VOLTAGE, 1e-3, 256),
        ("digits14", b"412345;4008" + b"0\r\n", -0.12345, Q.DC_VOLTAGE, 1e-5, 256),
        ("digits14", b"6000003100" + b"20\r\n", INF, Q.RESISTANCE, 1e4, Flag.AUTORANGE | Flag.OVERLOAD),
        ("digits14", b"112345;02080\r\n", 12.345, Q.DC_VOLTAGE, 1e-3, Flag.DC | Flag.RELATIVE),
        ("digits14", b"112345;28080\r\n", 12.345, Q.DC_VOLTAGE, 1e-3, Flag.DC | Flag.MAXIMUM | Flag.LOW_BATTERY),
        ("digits14", b"112345;04060\r\n", 12.345, Q.AC_VOLTAGE, 1e-3, Flag.AC | Flag.MINIMUM | Flag.AUTORANGE),
        ("digits11?status=sign-first", b"21234;40<\r\n", 12.34, Q.DC_VOLTAGE, 0.01, 272 | Flag.LOW_BATTERY),
        # by a meter maker's user guide: 0x39 is mA, 0x3F A, and an overload sends the digits 4000
        ("digits11", b"11500900<\r\n", 0.15, Q.DC_CURRENT, 1e-4, 272),
        ("digits11?amperes=0x3F", b"00500?00<\r\n", 5.0, Q.DC_CURRENT, 0.01, 272),
        ("digits11?amperes=0x3F", b"005009008\r\n", 5e-3, Q.DC_CURRENT, 1e-5, Flag.DC),
        ("digits11?amperes=0x3F", b"00500?40<\r\n", -5.0, Q.DC_CURRENT, 0.01, 272),
        ("digits11?amperes=0x3F", b"04000?104\r\n", INF, Q.AC_CURRENT, 0.01, Flag.AC | 17),
        ("digits11?amperes=0x30", b"00500?00<\r\n", 5e-3, Q.DC_CURRENT, 1e-5, 272),
        ("digits11?amperes=0x30", b"00500000<\r\n", 5.0, Q.DC_CURRENT, 0.01, 272),
        ("digits11?status=judge-first", b"114702804\r\n", 14700.0, Q.FREQUENCY, 10.0, Flag.AUTORANGE),
        ("digits11?status=judge-first", b"340006104\r\n", INF, Q.CAPACITANCE, 1e-9, Flag.AUTORANGE | Flag.OVERLOAD),
        ("digits14", b"000235480000\r\n", 23.5, Q.TEMPERATURE, 0.1, Flag.NONE),
        ("digits14", b"000500200000\r\n", 50.0, Q.DUTY_CYCLE, 0.1, Flag.NONE),
        ("chars16", b"\x0241340200001234\r", 12.34, Q.DC_VOLTAGE, 0.01, Flag.DC),
        ("chars16", b"\x0241181100000512\r", -0.0512, Q.DC_VOLTAGE, 1e-4, Flag.DC),
        ("chars16", b"\x0241A40000000470\r", 4.7e-10, Q.CAPACITANCE, 1e-12, Flag.NONE),
        ("text", b"12.34 V\r\n", 12.34, Q.DC_VOLTAGE, 0.01, Flag.DC),
        ("text", b"-5.1mVAC\n", -0.0051, Q.AC_VOLTAGE, 1e-4, Flag.AC),
        ("text", "47.0 k\N{OHM SIGN}\r".encode(), 47000.0, Q.RESISTANCE, 100.0, Flag.NONE),
        ("text", b"3.3 \xb5F\r\n", 3.3e-6, Q.CAPACITANCE, 1e-7, Flag.NONE),
        ("text", b"O.L Mohm\r\n", INF, Q.RESISTANCE, math.nan, Flag.OVERLOAD),
        ("text?quantity=dc_current&unit=mA", b"12.3\r\n", 0.0123, Q.DC_CURRENT, 1e-4, Flag.DC),
        ("text", b"12.515 Volt\r\n", 12.515, Q.DC_VOLTAGE, 1e-3, Flag.DC),
        ("text", b"230.1 Volts AC\r\n", 230.1, Q.AC_VOLTAGE, 0.1, Flag.AC),
        ("text", "4.81 Amp\xe8res\r\n".encode(), 4.81, Q.DC_CURRENT, 0.01, Flag.DC),
        ("text", b"3.20 mAmp\r\n", 3.2e-3, Q.DC_CURRENT, 1e-5, Flag.DC),
        ("text", b"12.5 voltios\r\n", 12.5, Q.DC_VOLTAGE, 0.1, Flag.DC),
        ("text", b"47.0 Kohmios\r\n", 47000.0, Q.RESISTANCE, 100.0, Flag.NONE),
        ("text?profile=decimal-comma", b"12,525 V\r\n", 12.525, Q.DC_VOLTAGE, 1e-3, Flag.DC),
        ("text?quantity=diode", b"0.512\r\n", 0.512, Q.DIODE, 1e-3, Flag.NONE),
    ],
)
def test_a_frame_written_by_hand(
    address: str, frame: bytes, value: float, quantity: Quantity, resolution: float, flags: int
) -> None:
    name, _, options = address.partition("?")
    decoder = framing_of(f"{name}:x?{options}").decoder()
    (reading,) = decoder.feed(frame, 0.0)
    assert reading.value == value
    assert reading.quantity is quantity
    assert reading.resolution == resolution or math.isnan(resolution)
    assert reading.flags == flags


@pytest.mark.parametrize(
    ("function", "quantity", "digits11", "digits14"),
    [
        # full scale of each range, as each chip's table writes it
        (";", Q.DC_VOLTAGE, (0.4, 4, 40, 400, 4000), (2.2, 22, 220, 2200, 0.22)),
        ("=", Q.DC_CURRENT, (400e-6, 4000e-6), (220e-6, 2200e-6)),
        # 0x3F was mA and 0x30 A here, from memory: on digits11 a user guide says A and 0x39 mA, so that is asked
        ("9", Q.DC_CURRENT, (40e-3, 400e-3), ()),
        ("?", Q.DC_CURRENT, (40,), (22e-3, 220e-3)),
        ("0", Q.DC_CURRENT, (), (22,)),
        ("3", Q.RESISTANCE, (400, 4e3, 40e3, 400e3, 4e6, 40e6), (220, 2.2e3, 22e3, 220e3, 2.2e6, 22e6, 220e6)),
        ("5", Q.CONTINUITY, (400,), (220,)),
        ("1", Q.DIODE, (4,), (2.2,)),
        ("2", Q.FREQUENCY, (4e3, 40e3, 400e3, 4e6, 40e6, 400e6), (22, 220, 2.2e3, 22e3, 220e3, 2.2e6, 22e6, 220e6)),
        (
            "6",
            Q.CAPACITANCE,
            (4e-9, 40e-9, 400e-9, 4e-6, 40e-6, 400e-6, 4e-3, 40e-3),
            (22e-9, 220e-9, 2.2e-6, 22e-6, 220e-6, 2.2e-3, 22e-3, 220e-3),
        ),
        ("4", Q.TEMPERATURE, (4000,), (2200,)),
    ],
)
def test_every_function_byte_has_its_quantity_and_its_ranges(
    function: str, quantity: Quantity, digits11: tuple[float, ...], digits14: tuple[float, ...]
) -> None:
    dc = "8" if quantity in (Q.DC_VOLTAGE, Q.DC_CURRENT) else "0"
    told = "digits11:x?amperes=0x3F&status=judge-first"
    judge = "80" if quantity is Q.FREQUENCY else "00"
    chips = ((told, "4000", judge, "", digits11), ("digits14:x", "22000", "800", "0", digits14))
    for name, digits, status, rest, full_scales in chips:
        decoder = framing_of(name).decoder()
        for index, full_scale in enumerate(full_scales):
            (reading,) = decoder.feed(f"{index}{digits}{function}{status}{dc}{rest}\r\n".encode(), 0.0)
            assert reading.quantity is quantity, name
            assert reading.value == pytest.approx(full_scale), name
            assert reading.resolution == pytest.approx(full_scale / int(digits)), name
        beyond = f"{len(full_scales)}{digits}{function}{status}{dc}{rest}\r\n".encode()
        assert decoder.feed(beyond, 0.0) == [], name


def test_the_lower_display_is_the_second_column() -> None:
    readings = framing_of("chars16:x").decoder().feed(b"\x0241340200001234\r\x0242010100000215\r", 0.0)
    assert [(r.column, r.value, r.quantity) for r in readings] == [
        (0, 12.34, Q.DC_VOLTAGE),
        (1, 21.5, Q.TEMPERATURE),
    ]


@pytest.mark.parametrize(
    ("address", "frame", "why"),
    [
        ("status14", b"+1234 2\x38\x00\x00\x80\x00\r\n", "AC and DC at once"),
        ("status14", b"+1234 2\x20\x00\x00\x80\x00\r\n", "volts with neither"),
        ("status14", b"+1234 2\x30\x00\x60\x80\x00\r\n", "two prefixes"),
        ("status14", b"+1234 2\x30\x00\x20\x80\x00\r\n", "kilovolts"),
        ("status14", b"+1234 2\x30\x00\x00\xa0\x00\r\n", "volts and ohms"),
        ("status14", b"+1234 2\x30\x00\x00\x10\x00\r\n", "transistor gain"),
        ("status14", b"+1234 2\x70\x00\x00\x80\x00\r\n", "a spare bit"),
        ("status14", b"+1234 2\x20\x00\x00\x04\x00\r\n", "whole farads"),
        ("status14", b"-1234 2\x28\x00\x00\x80\x00\r\n", "a negative AC value"),
        ("status14", b"+1234 4\x00\x00\x02\x00\x00\r\n", "123.4 % duty cycle"),
        ("segments14", segments(7, 0, 5, 5, 11, 9, 15, 2, 7, 1, 0, 0, 0, 0), "a diode symbol alone"),
        ("segments14", segments(7, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 4, 0), "no digits"),
        ("segments14", segments(7, 6, 8, 7, 13, 0, 0, 0, 0, 0, 0, 0, 4, 0), "L0, which is no overload"),
        ("digits11", b"91234;00<\r\n", "a range that is not there"),
        ("digits11", b"21234>00<\r\n", "a function that is not there"),
        ("digits11", b"21234;01<\r\n", "a spare bit"),
        ("digits14", b"112345;000<0\r\n", "AC and DC at once"),
        ("digits14", b"112345;00000\r\n", "volts with neither"),
        ("digits14", b"112345;00081\r\n", "a spare bit"),
        ("chars16", b"\x0241990200001234\r", "a unit that is not there"),
        ("text", b"12.34 W\r\n", "a unit that is not there"),
        ("text", b"12.34\r\n", "no unit"),
        ("text", b"12,525 V\r\n", "a comma where nothing says that it is the decimal sign"),
        ("text?profile=decimal-comma", b"12,525,1 V\r\n", "two commas"),
        ("text?profile=decimal-comma", b"12.525 V\r\n", "a point"),
        ("text", b"1.2.3 V\r\n", "no number"),
        ("text?quantity=dc_voltage,dc_current", b"12.3\r\n", "a column too few"),
    ],
)
def test_a_combination_that_no_meter_shows_is_refused_and_counted(address: str, frame: bytes, why: str) -> None:
    name, _, options = address.partition("?")
    decoder = framing_of(f"{name}:x?{options}").decoder()
    assert decoder.feed(frame, 0.0) == [], why
    assert (decoder.traffic.frames_good, decoder.traffic.frames_refused) == (0, 1), why


def test_spare_bits_pass_where_the_address_says_so() -> None:
    for address, frame in (
        ("status14:x?spare=ignored", b"+1234 2\x70\x00\x00\x80\x00\r\n"),
        ("digits11:x?spare=ignored", b"21234;01<\r\n"),
    ):
        assert [r.value for r in framing_of(address).decoder().feed(frame, 0.0)] == [12.34]


@pytest.mark.parametrize(
    ("frame", "what"),
    [
        (b"*1234 2\x30\x00\x00\x80\x00\r\n", "no sign"),
        (b"+12:4 2\x30\x00\x00\x80\x00\r\n", "no digit"),
        (b"+1234-2\x30\x00\x00\x80\x00\r\n", "no space"),
        (b"+1234 3\x30\x00\x00\x80\x00\r\n", "no such decimal point"),
        (b"+1234 2\x30\x00\x00\x80\x00\n\r", "no end"),
    ],
)
def test_what_is_no_frame_is_thrown_away_and_counted(frame: bytes, what: str) -> None:
    decoder = framing_of("status14:x").decoder()
    good = b"+1234 2\x30\x00\x00\x80\x00\r\n"
    readings = decoder.feed(frame + b"\r\n" + good, 0.0)
    assert [r.value for r in readings] == [12.34], what
    assert decoder.traffic.bytes_discarded >= len(frame)


def test_two_columns_come_from_one_line_with_one_time() -> None:
    decoder = framing_of("text:x?profile=two-column").decoder(0.001)
    first, second = decoder.feed(b"12.3,4.56\r\n", 10.0)
    assert first == Reading(10.0 - 0.011, 12.3, Q.DC_VOLTAGE, 0.1, Flag.DC, 0)
    assert second == Reading(10.0 - 0.011, 4.56, Q.DC_CURRENT, 0.01, Flag.DC, 1)
    assert [r.column for r in decoder.feed(b",4.5\r\n", 11.0)] == [1], "an empty column is no reading"


def test_a_line_that_never_ends_is_thrown_away_and_the_next_one_is_read() -> None:
    decoder = framing_of("text:x").decoder()
    assert decoder.feed(b"1" * 10_000, 0.0) == []
    assert [r.value for r in decoder.feed(b"1 V\r\n2 V\r\n", 0.0)] == [2.0]
    assert decoder.traffic.bytes_discarded > 10_000


@pytest.mark.parametrize(
    ("address", "lines"),
    [
        ("status14:x", ["2400 8N1"]),
        ("segments14:x", ["2400 8N1, DTR on, RTS off"]),
        ("digits11:x", ["2400 8N1", "19230 8N1"]),
        ("digits14:x", ["19230 8N1"]),
        ("chars16:x", ["9600 8N1"]),
        ("text:x", ["9600 8N1"]),
        ("frames:x?profile=status14-frames", ["2400 8N1"]),
        ("frames:x?profile=chars16-frames", ["9600 8N1"]),
    ],
)
def test_a_port_is_set_as_the_meter_sends(address: str, lines: list[str]) -> None:
    framing = framing_of(address)
    assert [str(line) for line in framing.driver.lines_for(framing.address)] == lines


@pytest.mark.parametrize(
    ("name", "frame", "spare"),
    [
        # each flag byte's place, and its bits without a meaning
        ("digits11", b"21234;00<\r\n", {6: 0x0, 7: 0xF, 8: 0x2}),
        ("digits14", b"112345;00080\r\n", {7: 0x0, 8: 0x1, 9: 0xF, 10: 0x0, 11: 0xF}),
        ("status14", b"+1234 2\x30\x00\x00\x80\x00\r\n", {7: 0xC0, 8: 0xC1, 9: 0x01}),
    ],
)
def test_every_spare_bit_refuses_a_frame(name: str, frame: bytes, spare: dict[int, int]) -> None:
    for place, bits in spare.items():
        for bit in (1 << n for n in range(8) if bits >> n & 1):
            damaged = bytearray(frame)
            damaged[place] |= bit
            assert framing_of(f"{name}:x").decoder().feed(bytes(damaged), 0.0) == [], f"bit {bit:#x} of byte {place}"
            (reading,) = framing_of(f"{name}:x?spare=ignored").decoder().feed(bytes(damaged), 0.0)
            assert reading.value == framing_of(f"{name}:x").decoder().feed(frame, 0.0)[0].value


@pytest.mark.parametrize(
    ("address", "value", "quantity", "resolution"),
    [
        ("status14:x", 12.34, Q.DC_VOLTAGE, 0.01),
        ("status14:x", 0.5, Q.DC_VOLTAGE, 1e-4),
        ("status14:x", 47e3, Q.RESISTANCE, 10.0),
        ("segments14:x", 12.34, Q.DC_VOLTAGE, 0.01),
        ("digits11:x", 12.34, Q.DC_VOLTAGE, 0.01),
        ("digits14:x", 12.34, Q.DC_VOLTAGE, 1e-3),
        ("chars16:x", 12.34, Q.DC_VOLTAGE, None),
        ("frames:x?profile=status14-frames", 12.34, Q.DC_VOLTAGE, 0.01),
        ("text:x", 12.34, Q.DC_VOLTAGE, 0.01),
    ],
)
def test_a_reading_of_unknown_resolution_is_shown_as_finely_as_the_display_has_room(
    address: str, value: float, quantity: Quantity, resolution: float | None
) -> None:
    """A table that was imported does not say how finely its meter showed it; it can be emulated all the same."""
    framing = framing_of(address)
    flags = Flag.DC if quantity is Q.DC_VOLTAGE else Flag.NONE
    frame = framing.encoder().encode([Reading(0.0, value, quantity, math.nan, flags)])
    (reading,) = framing.decoder().feed(frame, 0.0)
    assert (reading.value, reading.quantity) == (value, quantity)
    assert resolution is None or reading.resolution == pytest.approx(resolution)


@pytest.mark.parametrize(
    ("address", "line", "value", "quantity", "resolution"),
    [
        ("text:x", "212.0 degF", 100.0, Q.TEMPERATURE, 0.1 * 5 / 9),
        ("text:x", "-40 \N{DEGREE SIGN}F", -40.0, Q.TEMPERATURE, 5 / 9),
        ("text:x", "1.25e-3 A", 1.25e-3, Q.DC_CURRENT, 1e-5),
        ("text:x", ".5 V", 0.5, Q.DC_VOLTAGE, 0.1),
        ("text:x", "50.0 %", 50.0, Q.DUTY_CYCLE, 0.1),
        ("text:x", "1.000 kHz", 1000.0, Q.FREQUENCY, 1.0),
        ("text:x", "470 pF", 470e-12, Q.CAPACITANCE, 1e-12),
        ("text:x", "47 nF", 47e-9, Q.CAPACITANCE, 1e-9),
        ("text:x", "2.2 Kohm", 2200.0, Q.RESISTANCE, 100.0),
        ("text:x", "2.2 kohm", 2200.0, Q.RESISTANCE, 100.0),
        ("text:x", "2.2 Mohm", 2.2e6, Q.RESISTANCE, 1e5),
        ("text:x", "22 mohm", 0.022, Q.RESISTANCE, 1e-3),
        ("text:x", "1.5 MHz", 1.5e6, Q.FREQUENCY, 1e5),
        ("text:x", "150 uA DC", 150e-6, Q.DC_CURRENT, 1e-6),
        ("text:x", "150 nA", 150e-9, Q.DC_CURRENT, 1e-9),
    ],
)
def test_a_line_of_text_is_in_the_quantitys_unit(
    address: str, line: str, value: float, quantity: Quantity, resolution: float
) -> None:
    (reading,) = framing_of(address).decoder().feed(f"{line}\r\n".encode(), 0.0)
    assert reading.value == pytest.approx(value)
    assert reading.quantity is quantity
    assert reading.resolution == pytest.approx(resolution)
    assert reading.flags == {Q.DC_CURRENT: Flag.DC, Q.DC_VOLTAGE: Flag.DC}.get(quantity, Flag.NONE)


@pytest.mark.parametrize(
    ("address", "reading", "message"),
    [
        ("text:x", Reading(0.0, 0.5, Q.DIODE, 0.001), "the unit alone does not say diode"),
        ("text:x", Reading(0.0, 0.5, Q.DC_VOLTAGE, 0.001, Flag.DC | Flag.HOLD), "no words for the flags"),
        ("text:x?quantity=resistance", Reading(0.0, 0.5, Q.DC_VOLTAGE, 0.001, Flag.DC), "does not show dc_voltage"),
        ("text:x?quantity=resistance", Reading(0.0, math.inf, Q.RESISTANCE, 1.0, Flag.OVERLOAD), None),
        (
            "status14:x",
            Reading(0.0, 1.0, Q.DC_VOLTAGE, 0.1, Flag.DC, 1),
            "the profile has no frame for 1 as dc_voltage",
        ),
        ("digits11:x", Reading(0.0, 1.0, Q.DC_VOLTAGE, 0.1, Flag.DC, 1), "this display has one column"),
        ("digits11:x", Reading(0.0, 1.0, Q.DC_VOLTAGE, 0.1, Flag.DC | Flag.HOLD), "no bit for one of .* or hold"),
        ("digits14:x", Reading(0.0, 1.0, Q.DC_VOLTAGE, 0.1, Flag.DC | Flag.AC), "cannot be AC and DC"),
        ("digits14:x", Reading(0.0, 9e9, Q.DC_VOLTAGE, 0.1, Flag.DC), "no range shows 9e\\+09 as dc_voltage at 0.1"),
        ("status14:x", Reading(0.0, 1.0, Q.DC_VOLTAGE, 1e-9, Flag.DC), "no frame for 1 as dc_voltage at 1e-09"),
    ],
)
def test_what_cannot_be_shown_says_why(address: str, reading: Reading, message: str | None) -> None:
    encoder = framing_of(address).encoder()
    if message is None:
        assert encoder.encode([reading])
        return
    with pytest.raises(EncodeError, match=message):
        encoder.encode([reading])


def test_two_readings_of_one_column_are_no_line() -> None:
    reading = Reading(0.0, 0.5, Q.DC_VOLTAGE, 0.001, Flag.DC)
    for readings in ([], [reading, reading]):
        with pytest.raises(EncodeError, match="one reading a column"):
            framing_of("text:x").encoder().encode(readings)
    with pytest.raises(EncodeError, match="the profile has 1 columns, not 3"):
        framing_of("text:x").encoder().encode([reading._replace(column=2)])


def test_a_line_may_be_as_long_as_256_bytes_and_comes_in_any_ending() -> None:
    for ending in (b"\r\n", b"\n", b"\r"):
        assert [r.value for r in framing_of("text:x").decoder().feed(b"1 V" + ending + b"2 V" + ending, 0.0)] == [1, 2]


@pytest.mark.parametrize(("spaces", "values"), [(253, [1.0, 2.0]), (254, [2.0])])
def test_a_line_has_256_bytes_at_most(spaces: int, values: list[float]) -> None:
    line = b"1" + b" " * spaces + b"V "
    assert [r.value for r in framing_of("text:x").decoder().feed(line + b"\n2 V\n", 0.0)] == values


def test_a_line_that_never_ends_is_not_kept() -> None:
    decoder = framing_of("text:x").decoder()
    tracemalloc.start()
    try:
        for _ in range(300):
            decoder.feed(b"1" * 1000, 0.0)
        assert tracemalloc.get_traced_memory()[0] < 50_000
    finally:
        tracemalloc.stop()
    assert decoder.traffic.bytes_discarded == 300_000


def test_a_tail_in_pieces_is_thrown_away_whole() -> None:
    decoder = framing_of("text:x").decoder()
    assert isinstance(decoder, TextDecoder)
    decoder.joined_midway()
    assert decoder.feed(b"1", 0.0) == decoder.feed(b"2 V", 0.0) == []
    assert [r.value for r in decoder.feed(b"\r\n3 V\r\n", 0.0)] == [3.0]


@pytest.mark.parametrize(
    ("address", "says"),
    [
        ("text:x", False),
        ("text:x?profile=columns", False),
        ("text:x?profile=number", True),
        ("text:x?profile=two-column", True),
        ("text:x?profile=number&quantity=dc_voltage", False),
    ],
)
def test_numbers_without_units_are_said_to_be_such(address: str, says: bool) -> None:
    framing = framing_of(address)
    assert ("say what they are" in framing.driver.unsaid(framing.address)) == says


@pytest.mark.parametrize(
    ("address", "message"),
    [
        ("text:x?quantity=volts", "the quantity must be one of dc_voltage, .*, not 'volts'"),
        ("text:x?unit=W", "the unit 'W' is not known"),
        ("text:x?quantity=resistance&unit=V", "the unit 'V' does not fit resistance"),
        ("text:x?quantity=dc_voltage,dc_current,resistance", "the option quantity names 3 columns; the profile has 2"),
        ("status14:x?spare=some", "spare"),
        ("digits11:x?status=other", "status"),
        ("digits11:x?amperes=0x39", "amperes must be one of 0x3F, 0x30, not '0x39'"),
    ],
)
def test_an_address_that_does_not_fit_is_refused(address: str, message: str) -> None:
    """Before the port is opened."""
    with pytest.raises(AddressError, match=message):
        open_address(address)


def test_what_digits11_and_digits14_take_for_granted_is_said() -> None:
    for address, words in (
        ("digits11:x", "minus and low battery give no reading until status= says which bit is which"),
        ("digits11:x?status=sign-first", "taken as sign-first; a sister chip has it judge-first (status=judge-first)"),
        ("digits11:x?status=judge-first", "taken as judge-first; a sister chip has it sign-first (status=sign-first)"),
        ("digits11:x?amperes=0x3F", "taken as judge-first"),
        ("digits11:x?amperes=0x30", "no reading until status= says"),
        ("digits14:x", "a clear judge bit turns Hz into duty cycle and deg C into deg F"),
    ):
        framing = framing_of(address)
        assert any(words in said for said in framing.driver.assumed(framing.address))


@pytest.mark.parametrize(
    ("frame", "question"),
    [
        (b"00500?00<\r\n", "A or mA?"),  # 0x3F: 5.00 A by a user guide, 5.00 mA from memory
        (b"00500000<\r\n", "A or an adapter's input?"),
        (b"01999;80<\r\n", "minus or low battery?"),  # minus, or the sister's judge
        (b"01999;40<\r\n", "minus or low battery?"),  # low battery, or the sister's minus: never 199.9 mV
        (b"147002004\r\n", "Hz or RPM?"),  # the judge bit tells them, where there is one
    ],
)
def test_what_sister_chips_send_alike_is_asked_and_gives_no_reading(frame: bytes, question: str) -> None:
    for odd in (False, True):
        sent = bytes(b | 0x80 * (odd and b.bit_count() % 2 == 0) for b in frame)
        decoder = framing_of("digits11:x").decoder()
        assert decoder.feed(sent * 3, 0.0) == []
        assert decoder.traffic.question.startswith(question)
        assert decoder.traffic.never_taught == sent
        assert (decoder.traffic.frames_good, decoder.traffic.frames_refused) == (0, 3)


def test_revolutions_are_not_shown_as_hertz() -> None:
    decoder = framing_of("digits11:x?status=judge-first").decoder()
    assert decoder.feed(b"014702004\r\n", 0.0) == [], "judge is clear: 14.70 k RPM"
    assert decoder.traffic.frames_refused == 1


def test_a_line_ends_with_its_last_column_where_the_profile_lets_it() -> None:
    first, third = (Reading(0.0, 12.3, Q.DC_VOLTAGE, 0.1, Flag.DC, column) for column in (0, 2))
    encoder = framing_of("text:x?profile=columns").encoder()
    assert encoder.encode([first]) == b"12.3 V\r\n"
    assert encoder.encode([first, third]) == b"12.3 V,,12.3 V\r\n"


def test_a_number_is_written_in_the_unit_that_suits_it() -> None:
    encoder = framing_of("text:x").encoder()
    for value, resolution, quantity, flags, line in (
        (-5.1e-3, 1e-4, Q.DC_VOLTAGE, Flag.DC, b"-5.1 mV\r\n"),
        (0.05, 0.01, Q.DC_VOLTAGE, Flag.DC, b"0.05 V\r\n"),
        (1e3, 1e2, Q.DC_VOLTAGE, Flag.DC, b"1.0 kV\r\n"),
        (12.0, 1.0, Q.DC_VOLTAGE, Flag.DC, b"12 V\r\n"),
        (12.5, math.nan, Q.DC_VOLTAGE, Flag.DC, b"12.5 V\r\n"),
        (12.5, 0.1, Q.AC_VOLTAGE, Flag.AC, b"12.5 VAC\r\n"),
        (2.2e6, 1e5, Q.RESISTANCE, Flag.NONE, b"2.2 Mohm\r\n"),
        (470e-12, 1e-12, Q.CAPACITANCE, Flag.NONE, b"470 pF\r\n"),
        (47e-9, 1e-9, Q.CAPACITANCE, Flag.NONE, b"47 nF\r\n"),
        (3.3e-6, 1e-7, Q.CAPACITANCE, Flag.NONE, b"3.3 uF\r\n"),
        (-math.inf, math.nan, Q.DC_VOLTAGE, Flag.DC | Flag.OVERLOAD, b"-OL V\r\n"),
    ):
        assert encoder.encode([Reading(0.0, value, quantity, resolution, flags)]) == line


def test_a_number_in_a_fixed_unit_that_counts_in_tens_is_written_with_its_power() -> None:
    framing = framing_of("text:x?quantity=dc_voltage")
    reading = Reading(0.0, 120.0, Q.DC_VOLTAGE, 10.0, Flag.DC)
    assert framing.encoder().encode([reading]) == b"12e1\r\n"
    assert framing.decoder().feed(b"12e1\r\n", 0.0) == [reading]
