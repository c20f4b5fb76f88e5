"""gatt: meters that offer each quantity as a Bluetooth characteristic of its own, not as a serial line.

The BLE transport packs every value into a line of text with what is needed to understand it, so that the decoder
is as pure as any other and a raw capture can be read by a person:

```
@0 2b18 - 2003 9c1e
 | |    | |    `- CRC-16 (CCITT, start 0) of all before it, the mark `@` and this space too
 | |    | `- the characteristic's value
 | |    `- its Presentation Format descriptor (0x2904), `-` for none
 | `- the characteristic's UUID, short where there is a short form
 `- the meter's column: the characteristic's place among those that measure
```

Characteristics understood (Bluetooth SIG; facts graded A unless said otherwise):

| characteristic | value | unknown |
|---|---|---|
| Voltage 0x2B18 | uint16, 1/64 V | 0xFFFF |
| Electric Current 0x2AEE | uint16, 0.01 A | 0xFFFF |
| Temperature 0x2A6E | sint16, 0.01 deg C | 0x8000 |
| any with a Presentation Format | format, exponent and unit from the descriptor | NaN where the format has one |

Voltage and Electric Current have no sign and coarse steps, and do not say DC or AC: they are taken as DC.
"""

from __future__ import annotations

import binascii
import math
import struct
from typing import NamedTuple

from meterlog.address import Address
from meterlog.driver import Meter, Traffic, load_driver
from meterlog.driver.framing import Decoder, Encoder, FramingDriver
from meterlog.errors import EncodeError
from meterlog.reading import Flag, Quantity, Reading
from meterlog.transports import LineSettings
from meterlog.transports.ble_services import short
from meterlog_drivers.display.decimals import counts_at, resolution_exponent, scaled

_MOST = 1200
"""The longest line: 512 bytes is the longest value of a characteristic (Core Specification, Vol 3, Part F, 3.2.9)."""


class _Standard(NamedTuple):
    quantity: Quantity
    steps_per_unit: int
    signed: bool
    unknown: int


_STANDARD = {
    "2b18": _Standard(Quantity.DC_VOLTAGE, 64, False, 0xFFFF),
    "2aee": _Standard(Quantity.DC_CURRENT, 100, False, 0xFFFF),
    "2a6e": _Standard(Quantity.TEMPERATURE, 100, True, -0x8000),
}
_UNITS = {
    0x2728: Quantity.DC_VOLTAGE,
    0x272A: Quantity.RESISTANCE,
    0x2704: Quantity.DC_CURRENT,
    0x2722: Quantity.FREQUENCY,
    0x272F: Quantity.TEMPERATURE,
    0x2729: Quantity.CAPACITANCE,
}
"""Assigned Numbers, units; volt and ohm graded A, the others from memory (M)."""

_INTEGERS = {
    0x04: (1, False),
    0x06: (2, False),
    0x07: (3, False),
    0x08: (4, False),
    0x09: (6, False),
    0x0A: (8, False),
    0x0C: (1, True),
    0x0E: (2, True),
    0x0F: (3, True),
    0x10: (4, True),
    0x11: (6, True),
    0x12: (8, True),
}
"""Presentation formats that are whole numbers: bytes and sign. All format codes from memory (M)."""

_FLOAT32, _FLOAT64 = 0x14, 0x15
"""IEEE 754 of 32 and 64 bits."""
_DECIMAL16, _DECIMAL32 = 0x16, 0x17
"""IEEE 11073 SFLOAT (4-bit exponent, 12-bit mantissa) and FLOAT (8 and 24 bits), from memory (M)."""

_FORMATS = frozenset({*_INTEGERS, _FLOAT32, _FLOAT64, _DECIMAL16, _DECIMAL32})
_ANY = "2a58"
"""Analog (Bluetooth SIG, from memory): a value whose meaning is in its descriptor."""


class _Value(NamedTuple):
    """The value of a characteristic; None in its place means 'no value now'."""

    value: float
    resolution: float


class Presentation(NamedTuple):
    """A Characteristic Presentation Format descriptor (Core Specification, Vol 3, Part G, 3.3.3.5)."""

    format: int
    exponent: int
    unit: int

    @classmethod
    def parse(cls, data: bytes) -> Presentation | None:
        """From its seven bytes; None for anything else."""
        if len(data) != 7:
            return None
        form, exponent, unit, _, _ = struct.unpack("<BbHBH", data)
        return cls(form, exponent, unit)

    def bytes(self) -> bytes:
        """Its seven bytes, with the SIG's namespace (1) and no description."""
        return struct.pack("<BbHBH", self.format, self.exponent, self.unit, 1, 0)


class Characteristics:
    """Picks and packs characteristics for the BLE transport. See `meterlog.transports.ble.Tagging`."""

    def wanted(self, uuid: str, presentation: bytes) -> bool:
        """Tell whether the decoder understands such a characteristic."""
        if short(uuid.lower()) in _STANDARD:
            return True
        form = Presentation.parse(presentation)
        return form is not None and form.unit in _UNITS and form.format in _FORMATS

    def pack(self, column: int, uuid: str, presentation: bytes, value: bytes) -> bytes:
        """The line for one value."""
        text = f"@{column} {short(uuid.lower())} {presentation.hex() or '-'} {value.hex() or '-'} ".encode()
        return text + b"%04x\n" % binascii.crc_hqx(text, 0)


class GattDecoder:
    """Lines to readings. See `meterlog.driver.framing.Decoder`."""

    def __init__(self, byte_time_s: float = 0.0) -> None:
        self.traffic = Traffic()
        self._byte_time_s = byte_time_s
        self._rest = b""

    def feed(self, data: bytes, arrival_s: float) -> list[Reading]:
        """Take bytes, give the readings they complete."""
        data = self._rest + data
        *lines, rest = data.split(b"\n")
        after = len(data)
        readings: list[Reading] = []
        for line in lines:
            readings += self._line(line, arrival_s - after * self._byte_time_s)
            after -= len(line) + 1
        if len(rest) > _MOST:
            self.traffic.bytes_discarded += len(rest)
            rest = b""
        self._rest = rest
        return readings

    def _line(self, line: bytes, time_s: float) -> list[Reading]:
        start = max(line.rfind(b"@"), 0)  # a torn line may stand before this one
        text, crc = line[start:-4], line[-4:]
        if crc != b"%04x" % binascii.crc_hqx(text, 0):
            self.traffic.bytes_discarded += len(line) + 1
            return []
        self.traffic.bytes_discarded += start
        try:
            column, uuid, presentation, value = text[1:].decode("ascii").split()
            quantity, shown = _understand(uuid, _unhex(presentation), _unhex(value))
            number = int(column)
        except (ValueError, LookupError, struct.error):
            self.traffic.frames_refused += 1
            return []
        self.traffic.frames_good += 1
        if shown is None:
            return []
        flags = Flag.OVERLOAD if math.isinf(shown.value) else Flag.NONE
        return [Reading(time_s, shown.value, quantity, shown.resolution, flags, number)]


def _unhex(text: str) -> bytes:
    return b"" if text == "-" else bytes.fromhex(text)


def _understand(uuid: str, presentation: bytes, value: bytes) -> tuple[Quantity, _Value | None]:
    standard = _STANDARD.get(uuid)
    if standard is not None:
        if len(value) != 2:
            raise ValueError
        counts = int.from_bytes(value, "little", signed=standard.signed)
        if counts == standard.unknown:
            return standard.quantity, None
        return standard.quantity, _Value(counts / standard.steps_per_unit, 1 / standard.steps_per_unit)
    form = Presentation.parse(presentation)
    if form is None:
        raise ValueError
    return _UNITS[form.unit], _presented(form, value)


def _presented(form: Presentation, value: bytes) -> _Value | None:
    if form.format in (_FLOAT32, _FLOAT64):
        (number,) = struct.unpack("<f" if form.format == _FLOAT32 else "<d", value)
        return None if math.isnan(number) else _Value(number, math.nan)
    if form.format in (_DECIMAL16, _DECIMAL32):
        return _decimal(value, *((2, 12) if form.format == _DECIMAL16 else (4, 24)))
    size, signed = _INTEGERS[form.format]
    if len(value) != size:
        raise ValueError
    return _Value(scaled(int.from_bytes(value, "little", signed=signed), form.exponent), scaled(1, form.exponent))


def _decimal(value: bytes, size: int, mantissa_bits: int) -> _Value | None:
    """IEEE 11073 decimal floats: the five mantissas around the negative end are no numbers (with exponent 0)."""
    if len(value) != size:
        raise ValueError
    raw = int.from_bytes(value, "little", signed=True)
    exponent = raw >> mantissa_bits
    mantissa = raw & ((1 << mantissa_bits) - 1)
    end = 1 << (mantissa_bits - 1)
    if exponent == 0 and end - 2 <= mantissa <= end + 2:
        if mantissa == end - 2:
            return _Value(math.inf, math.nan)
        return _Value(-math.inf, math.nan) if mantissa == end + 2 else None
    if mantissa >= end:
        mantissa -= 1 << mantissa_bits
    return _Value(scaled(mantissa, exponent), scaled(1, exponent))


class GattEncoder:
    """Readings to the lines that the transport would pack. See `meterlog.driver.framing.Encoder`."""

    def encode(self, readings: list[Reading]) -> bytes:
        """One line a reading."""
        return b"".join(Characteristics().pack(reading.column, *value_of(reading)) for reading in readings)


def value_of(reading: Reading) -> tuple[str, bytes, bytes]:
    """The UUID, Presentation Format and value that show a reading.

    A standard characteristic where the reading's resolution is that one's step and the value is within its
    range, else a signed 32-bit decimal with a Presentation Format; overload and readings that show no resolution
    are floats.

    Raises:
        EncodeError: no unit is known for the quantity, or the value is too large.
    """
    if reading.flags & ~(Flag.OVERLOAD | Flag.DC):
        raise EncodeError("gatt has no way to say hold, low battery and the like")
    for uuid, standard in _STANDARD.items():
        if standard.quantity is reading.quantity and math.isclose(
            reading.resolution * standard.steps_per_unit, 1.0, rel_tol=1e-6
        ):
            return _standard_value(uuid, standard, reading)
    unit = next((code for code, quantity in _UNITS.items() if quantity is reading.quantity), None)
    if unit is None:
        raise EncodeError(f"gatt has no unit for {reading.quantity}")
    if math.isinf(reading.value) or math.isnan(reading.resolution):
        return _ANY, Presentation(_FLOAT64, 0, unit).bytes(), struct.pack("<d", reading.value)
    exponent = resolution_exponent(reading.resolution)
    counts = counts_at(reading.value, exponent)
    if not -(2**31) <= counts < 2**31:
        raise EncodeError(f"{reading.value:g} with a resolution of {reading.resolution:g} has too many digits")
    return _ANY, Presentation(0x10, exponent, unit).bytes(), counts.to_bytes(4, "little", signed=True)


def _standard_value(uuid: str, standard: _Standard, reading: Reading) -> tuple[str, bytes, bytes]:
    if math.isinf(reading.value):
        raise EncodeError(f"the standard characteristic for {reading.quantity} has no overload")
    counts = round(reading.value * standard.steps_per_unit)
    least, most = (-0x7FFF, 0x7FFF) if standard.signed else (0, 0xFFFE)
    if not least <= counts <= most:
        raise EncodeError(f"{reading.value:g} is outside the standard characteristic for {reading.quantity}")
    return uuid, b"", counts.to_bytes(2, "little", signed=standard.signed)


class Gatt(FramingDriver):
    """Meters with a Bluetooth characteristic a quantity."""

    name = "gatt"
    summary = "Bluetooth LE: standard Voltage, Current, Temperature and described characteristics"
    verification = "unverified against hardware (characteristics from the SIG's lists); round trip tested"
    modes = ("V (1/64 V, no sign)", "A (0.01 A, no sign)", "deg C", "ohm, Hz, F by descriptor")
    lines = (LineSettings(),)
    variants = ()
    streams = False

    def decoder(self, address: Address, byte_time_s: float) -> Decoder:  # noqa: ARG002
        """See `FramingDriver.decoder`."""
        return GattDecoder(byte_time_s)

    def encoder(self, address: Address) -> Encoder:  # noqa: ARG002
        """See `FramingDriver.encoder`."""
        return GattEncoder()

    def meter(self, address: Address) -> Meter:
        """`gatt:ADDRESS` is `ble:ADDRESS?decoder=gatt`."""
        return load_driver("ble").meter(_as_ble(address))

    def check(self, address: Address) -> None:
        """As the ble driver does."""
        load_driver("ble").check(_as_ble(address))


def _as_ble(address: Address) -> Address:
    return Address("ble", address.target, {**address.options, "decoder": "gatt"})
