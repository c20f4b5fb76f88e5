"""Says what sits between the meter and the wire: a clamp's scale, an offset, leads the wrong way round.

`scale=100A/V` makes amperes of the volts that a clamp gives; `scale=10mV/A`, as it is printed on clamps, says the same.
`scale=fuse:mini-10A` makes amperes of the volts across a fuse, by a table of resistances whose spread widens the error.
`invert=yes` turns the sign of DC voltage and current, `offset=-20mA` is added last, not to AC: an RMS value has no zero
to shift. There may be one for each unit, `offset=-0.3ohm;-20mA@2026-11-28`: leads and a clamp, with the day on which
it was measured (see `zero.py`). All of it concerns the first column, and only readings in the unit that the option
names: with the dial at ohms a clamp's scale changes nothing. A comparison with the display (`meters --check`) takes
readings as shown.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from datetime import date
from typing import NamedTuple

from meterlog.address import Address
from meterlog.driver.contract import Connection, Meter, Traffic
from meterlog.errors import AddressError, UsageError
from meterlog.fuses import Fuse, fuse_named
from meterlog.reading import Flag, Quantity, Reading
from meterlog.text.typed import typed_amount

OPTIONS = frozenset({"scale", "offset", "invert"})
_DC = {"V": Quantity.DC_VOLTAGE, "A": Quantity.DC_CURRENT, "degC": Quantity.TEMPERATURE}
_AC = {"V": Quantity.AC_VOLTAGE, "A": Quantity.AC_CURRENT}
_AMPERES = {Quantity.DC_VOLTAGE: Quantity.DC_CURRENT, Quantity.AC_VOLTAGE: Quantity.AC_CURRENT}
FUSE = "fuse:"
"""Begins a scale that is a fuse's."""
_RATIO = re.compile(r"([^/]+)/([^/]+)")
_BARE_UNIT = re.compile(r"[^\d.,+-].*")
_DIGITS = 12
"""Significant digits kept: more than any display has, fewer than show that 0.1 is no binary fraction."""


class Offset(NamedTuple):
    """Holds what is added to readings in one unit.

    Attributes:
        value: in that unit.
        day: when it was measured, ISO 8601; empty where it was not.
    """

    value: float = 0.0
    day: str = ""


@dataclass(frozen=True, slots=True)
class Conversion:
    """Holds what becomes of a reading.

    Attributes:
        factor: of the value and of one count.
        becomes: by quantity shown, the quantity that it means.
        invert: whether the sign of DC voltage and current is turned.
        offsets: by unit, what is added last.
        scale: the scale in words.
        spread: the share by which the scale itself may be off.
    """

    factor: float = 1.0
    becomes: dict[Quantity, Quantity] = field(default_factory=dict)
    invert: bool = False
    offsets: dict[str, Offset] = field(default_factory=dict)
    scale: str = ""
    spread: float = 0.0

    @classmethod
    def of(cls, address: Address) -> Conversion | None:
        """The conversion that an address asks for; None where it asks for none.

        Raises:
            AddressError: an option cannot be understood.
        """
        if not OPTIONS & address.options.keys():
            return None
        invert, offsets = address.choice("invert", ("yes", "no"), "no") == "yes", offsets_of(address)
        scale = address.options.get("scale", "")
        if scale.startswith(FUSE):
            fuse = _fuse(address)
            return cls(1.0 / fuse.ohm, _AMPERES, invert, offsets, f"of a fuse ({fuse.words})", fuse.error_share)
        factor, becomes = _scale(address) if scale else (1.0, {})
        return cls(factor, becomes, invert, offsets, scale)

    def words(self, quantity: Quantity) -> str:
        """Say what was done to readings of a quantity before they were kept; empty where nothing was."""
        offset, day = self._offset(quantity)
        nulled = f" (nulled on {day})" if day else ""
        return ", ".join(
            filter(
                None,
                (
                    f"scale {self.scale}" if quantity in self.becomes.values() else "",
                    "sign turned" if self.invert and quantity in (Quantity.DC_VOLTAGE, Quantity.DC_CURRENT) else "",
                    f"offset {offset:.{_DIGITS}g} {quantity.unit}{nulled}" if offset else "",
                ),
            )
        )

    def _offset(self, quantity: Quantity) -> Offset:
        return Offset() if quantity in _AC.values() else self.offsets.get(quantity.unit, Offset())

    def __call__(self, reading: Reading) -> Reading:
        """The reading as it is meant."""
        if reading.column:
            return reading
        value, quantity, resolution, flags = reading.value, reading.quantity, reading.resolution, reading.flags
        if quantity in self.becomes:
            quantity, value, resolution = self.becomes[quantity], value * self.factor, resolution * self.factor
            flags = flags & ~Flag.DC if quantity is Quantity.TEMPERATURE else flags
        if self.invert and reading.quantity in (Quantity.DC_VOLTAGE, Quantity.DC_CURRENT):
            value = 0.0 - value  # 0 stays 0, not -0
        if offset := self._offset(quantity).value:
            value += offset
            flags |= Flag.RELATIVE if quantity is Quantity.RESISTANCE else Flag.NONE  # leads nulled, as by the meter
        value, resolution = (float(f"{one:.{_DIGITS}g}") for one in (value, resolution))
        return reading._replace(value=value, quantity=quantity, resolution=resolution, flags=flags)


class ConvertedConnection:
    """A connection whose readings are converted."""

    def __init__(self, connection: Connection, conversion: Conversion) -> None:
        self._connection, self._conversion = connection, conversion

    @property
    def traffic(self) -> Traffic:
        """See `Connection.traffic`."""
        return self._connection.traffic

    def read(self, timeout_s: float) -> list[Reading] | None:
        """See `Connection.read`."""
        readings = self._connection.read(timeout_s)
        return None if readings is None else [self._conversion(reading) for reading in readings]

    def close(self) -> None:
        """See `Connection.close`."""
        self._connection.close()


def open_converted(meter: Meter, address: Address) -> Connection:
    """Open a meter; its readings come as the options of its address mean them.

    Raises:
        AddressError: an option cannot be understood.
        LinkError: it cannot be opened.
    """
    conversion = Conversion.of(address)
    connection = meter.open()
    return connection if conversion is None else ConvertedConnection(connection, conversion)


def _fuse(address: Address) -> Fuse:
    try:
        return fuse_named(address.options["scale"].removeprefix(FUSE))
    except UsageError as error:
        raise AddressError(f"in '{address}' scale cannot be read: {error}") from None


def _scale(address: Address) -> tuple[float, dict[Quantity, Quantity]]:
    text = address.options["scale"]
    match = _RATIO.fullmatch(text)
    if match is None:
        raise _wrong_scale(address)
    try:
        (over, over_unit), (under, under_unit) = (typed_amount(_with_number(part)) for part in match.groups())
    except UsageError as error:
        raise AddressError(f"in '{address}' scale cannot be read: {error}") from None
    if over_unit == "V" != under_unit:  # as printed on a clamp: what it gives for an ampere
        over, over_unit, under, under_unit = under, under_unit, over, over_unit
    known = under_unit in _AC and over_unit in _DC and (under_unit == "V" or over_unit == "A")
    if not (known and over > 0 and under > 0):
        raise _wrong_scale(address)
    becomes = {table[under_unit]: table[over_unit] for table in (_DC, _AC) if over_unit in table}
    return over / under, becomes


def _with_number(part: str) -> str:
    return f"1 {part.strip()}" if _BARE_UNIT.fullmatch(part.strip()) else part


def _wrong_scale(address: Address) -> AddressError:
    return AddressError(
        f"in '{address}' scale must have the form 100A/V or 10mV/A (a clamp), 10V/V (a divider), 1000A/A, 1mV/degC"
        f" or fuse:mini-10A, above nothing, not '{address.options['scale']}'"
    )


def offsets_of(address: Address) -> dict[str, Offset]:
    """The offsets that an address names, by unit.

    Raises:
        AddressError: one cannot be understood.
    """
    offsets: dict[str, Offset] = {}
    for part in filter(None, (part.strip() for part in address.options.get("offset", "").split(";"))):
        text, at, day = (word.strip() for word in part.partition("@"))
        try:
            value, unit = typed_amount(text)
        except UsageError as error:
            raise AddressError(f"in '{address}' offset cannot be read: {error}") from None
        if not unit:
            raise AddressError(f"in '{address}' offset wants its unit, for example {text}mA: the dial may be turned")
        if unit in offsets:
            raise AddressError(f"in '{address}' offset names {unit} twice")
        if at and not _is_day(day):
            raise AddressError(f"in '{address}' the day of an offset must be like 2026-11-28, not '{day}'")
        offsets[unit] = Offset(value, day)
    return offsets


def _is_day(text: str) -> bool:
    try:
        return date.fromisoformat(text).isoformat() == text
    except ValueError:
        return False
