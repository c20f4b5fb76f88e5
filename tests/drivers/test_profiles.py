"""Profiles: frames and lines there and back, wrong ones refused with their line."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from meterlog.cli.main import main
from meterlog.driver.framing import framing_of
from meterlog.errors import AddressError, EncodeError, ProfileError
from meterlog.reading import Flag, Quantity, Reading
from meterlog_drivers.display.every_mode import every_mode
from meterlog_drivers.formats.checksums import KINDS, checksum
from meterlog_drivers.profiles.profile_file import shipped_profiles

BINARY = """
kind = "frames"
lines = ["19200 8N1"]
[frame]
length = 9
start = [0xAA, 0x55]
xor = [0x5A, 0xC3]
[checksum]
kind = "crc16"
at = 8
from = 1
to = 7
polynomial = 0x8005
initial = 0xFFFF
reflected = true
order = "little"
[number]
digits = "integer"
at = [4, 5, 6]
signed = true
overload = ["8388607"]
[[map]]
at = 3
mask = 0x0F
values = { "0x01" = "dc V point2", "0x02" = "ac V point1", "0x03" = "ohm point0", "0x04" = "k ohm point2" }
[bits]
"7.0" = "hold"
"7.1" = "low-battery"
[[unused]]
at = 7
mask = 0xFC
"""
SEGMENTS = """
kind = "frames"
[frame]
length = 9
start = [0x7E]
[checksum]
kind = "sum8"
at = 9
from = 2
to = 8
negate = true
[number]
digits = "seven-segment"
at = [[2, 3], [4, 5], [6, 7]]
masks = [0x07, 0x0F]
overload = [" 0L"]
leading_blanks = true
[number.segments]
"0x7D" = "0"
"0x05" = "1"
"0x5B" = "2"
"0x1F" = "3"
"0x27" = "4"
"0x3E" = "5"
"0x7E" = "6"
"0x15" = "7"
"0x7F" = "8"
"0x3F" = "9"
"0x00" = " "
"0x68" = "L"
[bits]
"2.3" = "minus"
"4.3" = "point2"
"6.3" = "point1"
"8.0" = "V"
"8.1" = "dc"
"8.2" = "m"
"8.3" = "ohm"
[bits_clear]
"8.4" = "auto"
[[fixed]]
at = 8
mask = 0xE0
value = 0x40
"""
BCD = """
kind = "frames"
[frame]
length = 6
end = [0x0D]
[number]
digits = "bcd"
at = [2, 3]
decimals = 2
[[map]]
at = [1, 4]
values = { "0x3130" = "dc A", "1-" = "dc A minus", "0x3230" = "degC", "2-" = "degC minus" }
[[fixed]]
at = 5
value = 0x2A
"""


def test_a_profile_that_begins_with_a_byte_order_mark_reads(tmp_path: Path) -> None:
    (tmp_path / "mine.toml").write_text(BCD, "utf-8-sig")
    decoder = framing_of(f"frames:x?profile={tmp_path}/mine.toml").decoder()
    assert [reading.value for reading in decoder.feed(b"1\x04\x75-*\r", 0.0)] == [-4.75]


def test_what_a_column_writes_may_hold_any_other_braces(tmp_path: Path) -> None:
    text = "kind = 'text'\n[[column]]\nquantity = 'dc_voltage'\npattern = '.U. {number}'\nwrite = '{U} {number}'\n"
    (tmp_path / "mine.toml").write_text(text)
    framing = framing_of(f"text:x?profile={tmp_path}/mine.toml")
    assert framing.encoder().encode([Reading(0.0, 1.5, Quantity.DC_VOLTAGE, 0.1, Flag.DC)]) == b"{U} 1.5\r\n"


def test_every_shipped_profile_reads() -> None:
    assert set(shipped_profiles().values()) == {"text", "frames"}
    for name, kind in shipped_profiles().items():
        assert framing_of(f"{kind}:x?profile={name}").decoder().feed(b"\x00", 0.0) == []


@pytest.mark.parametrize("text", [BINARY, SEGMENTS, BCD], ids=["integer-xor-crc", "segments-sum", "bcd"])
def test_a_binary_frame_goes_there_and_back(text: str, tmp_path: Path) -> None:
    (tmp_path / "mine.toml").write_text(text)
    framing = framing_of(f"frames:x?profile={tmp_path}/mine.toml")
    encoder, decoder = framing.encoder(), framing.decoder()
    shown = list(every_mode(encoder))
    assert len(shown) > 5
    for reading in shown:
        assert decoder.feed(encoder.encode([reading]), 0.0) == [reading]
    assert decoder.traffic.bytes_discarded == decoder.traffic.frames_refused == 0


def test_a_frame_worked_out_by_hand(tmp_path: Path) -> None:
    (tmp_path / "mine.toml").write_text(BCD)
    decoder = framing_of(f"frames:x?profile={tmp_path}/mine.toml").decoder()
    (reading,) = decoder.feed(b"1\x04\x75-*\r", 0.0)
    assert reading[1:5] == (-4.75, Quantity.DC_CURRENT, 0.01, Flag.DC)
    assert decoder.feed(b"1\x0a\x750*\r", 0.0) == [], "0xA is no BCD digit"


def test_a_checksum_refuses_every_flipped_bit(tmp_path: Path) -> None:
    (tmp_path / "mine.toml").write_text(BINARY)
    framing = framing_of(f"frames:x?profile={tmp_path}/mine.toml")
    frame = framing.encoder().encode([Reading(0.0, -12.34, Quantity.DC_VOLTAGE, 0.01, Flag.DC)])
    for bit in range(8 * len(frame)):
        damaged = bytearray(frame)
        damaged[bit // 8] ^= 1 << bit % 8
        assert framing.decoder().feed(bytes(damaged), 0.0) == []


def test_frames_told_apart_by_pauses(tmp_path: Path) -> None:
    text = BCD.replace("end = [0x0D]", "gap_ms = 20")
    (tmp_path / "mine.toml").write_text(text)
    framing = framing_of(f"frames:x?profile={tmp_path}/mine.toml")
    frame = b"1\x12\x340*\r"
    decoder = framing.decoder()
    assert framing.decoder().feed(frame, 10.0) == [], "before the first pause it may be the middle of a frame"
    assert decoder.feed(frame[3:] + frame, 10.0) == []
    (reading,) = decoder.feed(frame, 10.1)
    assert (reading.value, reading.time_s) == (12.34, 10.1)
    assert decoder.feed(frame[:2], 10.2) == []
    assert [r.value for r in decoder.feed(frame[2:], 10.201)] == [12.34], "one frame in two pieces"
    assert decoder.feed(frame[:3], 10.3) == []
    assert [r.value for r in decoder.feed(frame * 2, 10.4)] == [12.34, 12.34], "half a frame is dropped at a pause"
    assert decoder.feed(b"??????" + frame, 10.5) == [], "what does not fit waits for the next pause"
    assert decoder.feed(frame, 10.501) == []
    assert decoder.traffic.bytes_discarded == 3 + 6 + 3 + 12 + 6
    assert [r.value for r in decoder.feed(frame, 10.521)] == [12.34], "20 ms are a pause"


@pytest.mark.parametrize(
    ("kind", "options", "check"),
    [
        ("crc16", {"polynomial": 0x8005, "initial": 0xFFFF, "reflected": True}, 0x4B37),
        ("crc16", {"polynomial": 0x1021, "initial": 0xFFFF}, 0x29B1),
        ("crc16", {"polynomial": 0x1021}, 0x31C3),
        ("crc8", {"polynomial": 0x07}, 0xF4),
        ("crc8", {"polynomial": 0x31, "reflected": True}, 0xA1),
        ("sum8", {}, 0xDD),
        ("sum8", {"negate": True}, 0x23),
        ("sum16", {}, 0x01DD),
        ("xor8", {}, 0x31),
    ],
)
def test_checksums_give_their_published_check_values(kind: str, options: dict[str, int], check: int) -> None:
    assert kind in KINDS
    assert checksum(kind, **options)(b"123456789") == check  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("old", "new", "line", "message"),
    [
        ("length = 9", "length = 1", 5, "length must be a whole number from 2 to 256, not 1"),
        ("length = 9", "lenght = 9", 4, "needs the key length"),
        ("length = 9", "length = 9\nlenght = 9", 6, "there is no 'lenght' here .did you mean 'length'"),
        ("start = [0xAA, 0x55]", "start = [0xAA, 0x155]", 6, "start must be bytes, 0 to 255"),
        ("start = [0xAA, 0x55]", "start = 0xAA", 6, "start must be a list of whole numbers"),
        ("xor = [0x5A, 0xC3]", "xor = [0x5A, 0xC3]\nxor_from = 7\nxor_to = 3", 8, "xor_from is greater than xor_to"),
        ('kind = "crc16"', 'kind = "crc32"', 9, "kind must be one of crc16, crc8, sum16, sum8, xor8, not 'crc32'"),
        ("at = 8", "at = 9", 10, "the checksum covers itself or extends beyond the frame"),
        ("reflected = true", "reflected = 1", 15, "reflected must be true or false"),
        (
            'digits = "integer"',
            'digits = "roman"',
            18,
            "digits must be one of ascii, bcd, integer, nibble",
        ),
        ("at = [4, 5, 6]", "at = [4, 5, 10]", 19, "at must be bytes from 1 to 9"),
        ('"dc V point2"', '"dc volts point2"', 25, "'volts' is not a symbol"),
        ('"0x01"', '"0x1"', 25, "'0x1' is not bytes in hex"),
        ('"7.0" = "hold"', '"7.8" = "hold"', 27, "must have the form"),
        ("mask = 0xFC", "mask = 0", 31, "mask must be a whole number from 1 to 255"),
        ("[bits]", "[bits", 26, "is not TOML"),
        ('kind = "frames"', 'kind = "text"', 2, "this is a profile for the driver 'text', not 'frames'"),
        ('lines = ["19200 8N1"]', 'lines = ["19200"]', 3, "lines must be settings like '9600 8N1'"),
    ],
)
def test_a_wrong_profile_is_refused_with_its_line(
    old: str, new: str, line: int, message: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert BINARY.count(old) >= 1
    path = tmp_path / "mine.toml"
    path.write_text(BINARY.replace(old, new, 1))
    with pytest.raises(ProfileError, match=message) as caught:
        framing_of(f"frames:x?profile={path}").decoder()
    assert caught.value.line == line
    assert f"{path}, line {line}: " in str(caught.value)
    assert "\n" not in str(caught.value)
    (tmp_path / "some.raw").write_bytes(b"\xaa\x55")
    assert main(["meters", "--try", str(path), str(tmp_path / "some.raw")]) == 2
    assert f"{path}, line " in capsys.readouterr().err


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ('kind = "text"', r"needs at least one \[\[column\]\]"),
        ('kind = "text"\n[[column]]\npattern = "V={unit}"', "line 3: pattern must have {number} once"),
        (
            'kind = "text"\n[[column]]\nquantity = "dc_voltage"\nwrite = "{value} V"',
            "line 4: write must have {number} once",
        ),
        ('kind = "text"\n[[column]]\npattern = "({number}"', "line 3: pattern is not a regular expression"),
        ('kind = "text"\n[[column]]\nquantity = "volts"', "line 3: quantity must be one of .*, not 'volts'"),
        ('kind = "text"\n[[column]]\nunit = "W"', "line 3: the unit 'W' is not known"),
        ('kind = "text"\n[[column]]\nquantity = "resistance"\nunit = "V"', "line 4: the unit 'V' does not fit"),
        ('kind = "text"\n[[column]]\n[[column]]', "several columns need a separator"),
        ('kind = "text"\ndecimal = ";"\n[[column]]', "line 2: decimal must be one of"),
    ],
)
def test_a_wrong_text_profile_is_refused_with_its_line(text: str, message: str, tmp_path: Path) -> None:
    (tmp_path / "mine.toml").write_text(text)
    with pytest.raises(ProfileError, match=message):
        framing_of(f"text:x?profile={tmp_path}/mine.toml").decoder()


def test_a_text_profile_of_ones_own(tmp_path: Path) -> None:
    (tmp_path / "mine.toml").write_text(
        'kind = "text"\nseparator = ";"\ndecimal = ","\noverload = ["----"]\nlines = ["4800 7E1 dtr=on rts=off"]\n'
        "[[column]]\nskip = true\n[[column]]\npattern = 'U={number} {unit}'\nwrite = 'U={number} {unit}'\n"
        '[[column]]\nquantity = "temperature"\n[units]\n"volts" = { quantity = "dc_voltage" }\n'
    )
    framing = framing_of(f"text:x?profile={tmp_path}/mine.toml")
    assert str(framing.driver.lines_for(framing.address)[0]) == "4800 7E1, DTR on, RTS off"
    readings = framing.decoder().feed(b"10:15:00;U=12,34 volts;21,5\r\n10:15:01;U=---- V;\r\n", 0.0)
    assert [(r.column, r.value, r.quantity) for r in readings] == [
        (1, 12.34, Quantity.DC_VOLTAGE),
        (2, 21.5, Quantity.TEMPERATURE),
        (1, float("inf"), Quantity.DC_VOLTAGE),
    ]
    assert framing.encoder().encode(readings[:2]) == b";U=12,34 V;21,5\r\n"
    with pytest.raises(EncodeError):
        framing.encoder().encode([readings[0]._replace(column=0)])


def test_an_absent_profile_is_one_sentence() -> None:
    with pytest.raises(ProfileError, match=r"no text profile 'two-colum' \(did you mean 'two-column'\?\)"):
        framing_of("text:x?profile=two-colum").decoder()
    with pytest.raises(ProfileError, match="cannot be read: there is no such file"):
        framing_of("frames:x?profile=/no/such.toml").decoder()
    with pytest.raises(AddressError, match="needs a profile"):
        framing_of("frames:x").decoder()


def test_try_shows_each_bytes_meaning(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    framing = framing_of("frames:x?profile=chars16-frames")
    frame = framing.encoder().encode([Reading(0.0, 12.34, Quantity.DC_VOLTAGE, 0.01, Flag.DC)])
    (tmp_path / "some.raw").write_bytes(b"??" + frame * 7)
    assert main(["meters", "--try", "chars16-frames", str(tmp_path / "some.raw")]) == 0
    out = capsys.readouterr().out
    assert "frame at byte 3 of the capture:" in out
    assert "    1  0x02  00000010  .  start" in out
    assert "    4  0x33  00110011  3  '34' says V dc" in out
    assert "   12  0x31  00110001  1  digit 5 '1'" in out
    assert "shows 12.34 V DC voltage (one count 0.01)" in out
    assert "7 frames good, 0 refused, 2 of 114 bytes discarded" in out


def test_try_says_what_is_wrong_with_the_nearest_frame(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "some.raw").write_bytes(b"+1234*2\x30\x00\x00\x80\x00\r\n" * 3)
    assert main(["meters", "--try", "status14-frames", str(tmp_path / "some.raw")]) == 0
    out = capsys.readouterr().out
    assert "no frame fits; the nearest:" in out
    assert "    6  0x2A  00101010  *  WRONG: always 0x20" in out
    assert "0 frames good" in out
    (tmp_path / "empty.raw").write_bytes(b"")
    assert main(["meters", "--try", "status14-frames", str(tmp_path / "empty.raw")]) == 0
    assert "is empty" in capsys.readouterr().out


def test_try_shows_what_a_text_profile_makes_of_each_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "some.raw").write_bytes(b"12.34 V\r\nhello\r\n")
    assert main(["meters", "--try", "value-unit", str(tmp_path / "some.raw")]) == 0
    out = capsys.readouterr().out
    assert "b'12.34 V\\r\\n'  column 1: 12.34 V DC voltage (one count 0.01)" in out
    assert "b'hello\\r\\n'  fits no column" in out


@given(st.text(max_size=80))
@example("[[column]]\n[column]")
@settings(max_examples=25, derandomize=True)
def test_any_text_as_a_profile_is_a_profile_error_or_works(text: str) -> None:
    import tempfile

    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "any.toml"
        path.write_text(f'kind = "text"\n{text}', "utf-8")
        try:
            framing_of(f"text:x?profile={path}").decoder()
        except ProfileError as error:
            message = str(error)
        else:
            message = ""
    assert "\n" not in message


def test_a_column_of_one_quantity_takes_its_unit_with_any_prefix_and_no_other_unit(tmp_path: Path) -> None:
    (tmp_path / "mine.toml").write_text(
        'kind = "text"\n[[column]]\nquantity = "diode"\npattern = "{number} {unit}"\nwrite = "{number} {unit}"\n'
    )
    framing = framing_of(f"text:x?profile={tmp_path}/mine.toml")
    decoder = framing.decoder()
    readings = decoder.feed(b"0.512 V\r\n512 mV\r\n", 0.0)
    assert [(r.value, r.quantity, r.flags) for r in readings] == [(0.512, Quantity.DIODE, Flag.NONE)] * 2
    assert decoder.feed(b"0.512 A\r\n", 0.0) == []
    assert decoder.traffic.frames_refused == 1
    assert framing.decoder().feed(framing.encoder().encode(readings[:1]), 0.0) == [readings[0]]
    with pytest.raises(EncodeError, match="that column shows diode, not resistance"):
        framing.encoder().encode([readings[0]._replace(quantity=Quantity.RESISTANCE)])


def test_frames_told_apart_by_pauses_are_timed_and_the_refused_are_counted(tmp_path: Path) -> None:
    text = BCD.replace("end = [0x0D]", "gap_ms = 20").replace("[[map]]", '[[map]]\nunknown = "refused"')
    (tmp_path / "mine.toml").write_text(text)
    decoder = framing_of(f"frames:x?profile={tmp_path}/mine.toml").decoder(0.001)
    assert decoder.feed(b"??", 10.0) == [], "it may be the middle of a frame"
    (first,) = decoder.feed(b"1\x12\x340*\r", 10.027)
    assert first.time_s == pytest.approx(10.021), "a pause of 21 ms, and 6 ms on the wire"
    assert decoder.feed(b"3\x12\x340*\r", 10.1) == []
    assert (decoder.traffic.frames_good, decoder.traffic.frames_refused) == (1, 1)
    (last,) = decoder.feed(b"1\x12\x340*\r", 10.12)
    assert last.time_s == pytest.approx(10.114)
    assert decoder.traffic.bytes_discarded == 2


WIRED = """
kind = "frames"
taught = true
[frame]
length = 8
start = [0xAB]
xor = [0x5A, 0xC3]
offset = [0x11]
[number]
digits = "wired"
bits = [["2.6", "4.0", "2.1", "3.3"], ["3.6", "~3.5", "4.2", "2.0"], ["5.3", "5.2", "5.1", "5.0"]]
[number.segments]
"0x00" = "0"
"0x01" = "1"
"0x02" = "2"
"0x04" = "3"
"0x03" = "4"
"0x05" = "5"
"0x06" = "6"
"0x07" = "7"
"0x08" = "8"
"0x09" = "9"
"1:0x0F" = " "
"3:0x0C" = "7"
[[map]]
at = [6, 7]
masks = [0x03, 0x40]
unknown = "refused"
values = { "0x0100" = "dc V", "0x0140" = "dc A", "0x0240" = "ohm", "0x0200" = "M ohm unscaled" }
[[map]]
at = 7
mask = 0x07
unknown = "refused"
values = { "0x01" = "e-2", "0x02" = "e-3" }
[bits]
"6.4" = "minus"
"6.5" = "overload"
[[steady]]
at = 8
mask = 0xFF
value = 0x95
"""
WIRED_INTEGER = """
kind = "frames"
[frame]
length = 5
end = [0x0D]
parity = "odd"
[number]
digits = "wired-integer"
signed = true
bits = ["2.0", "2.1", "2.2", "2.3", "2.4", "2.5", "3.4", "3.6", "~3.5", "1.0", "1.1", "1.2"]
[[map]]
at = 4
values = { "0x01" = "dc V point2", "0x02" = "dc V point1" }
"""


@pytest.mark.parametrize("text", [WIRED, WIRED_INTEGER])
def test_digits_in_any_wiring_are_read_as_they_are_sent(text: str, tmp_path: Path) -> None:
    path = tmp_path / "wired.toml"
    path.write_text(text)
    framing = framing_of(f"frames:x?profile={path}")
    for exponent in (-2, -3) if text is WIRED else (-2, -1):
        for counts in (0, 7, 45, 199, 680, 912):
            for sign in (1, -1) if counts else (1,):
                reading = Reading(0.0, sign * counts * 10.0**exponent, Quantity.DC_VOLTAGE, 10.0**exponent, Flag.DC)
                (got,) = framing.decoder().feed(framing.encoder().encode([reading]), 1.0)
                assert got.value == pytest.approx(reading.value, rel=1e-12)
                assert got.quantity is reading.quantity
                assert got.resolution == pytest.approx(reading.resolution)


def test_an_integer_above_its_most_is_neither_sent_nor_read(tmp_path: Path) -> None:
    path, bound = tmp_path / "wired.toml", tmp_path / "bound.toml"
    path.write_text(WIRED_INTEGER)
    bound.write_text(WIRED_INTEGER.replace("signed = true", "signed = true\nmost = 500"))
    readings = [Reading(0.0, volts, Quantity.DC_VOLTAGE, 0.01, Flag.DC) for volts in (5.00, 5.01, -5.01)]
    framing = framing_of(f"frames:x?profile={path}")
    frames = [framing.encoder().encode([reading]) for reading in readings]
    bounded = framing_of(f"frames:x?profile={bound}")
    read = [[got.value for got in bounded.decoder().feed(frame, 1.0)] for frame in frames]
    assert read == [[pytest.approx(5.00)], [], []]
    with pytest.raises(EncodeError):
        bounded.encoder().encode([readings[1]])
