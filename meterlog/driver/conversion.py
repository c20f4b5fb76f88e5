"""Says what sits between the meter and the wire: a clamp's scale, an offset, leads the wrong way round.

`scale=100A/V` makes amperes of the volts that a clamp gives; `scale=10mV/A`, as it is printed on clamps, says the same.
`invert=yes` turns the sign of DC voltage and current, `offset=-20mA` is added last, not to AC: an RMS value has no zero
to shift. All of it concerns the first column, and only readings in the unit that the option names: with the dial at
ohms a clamp's scale changes nothing. A comparison with the display (`meters --check`) takes readings as shown.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from meterlog.address import Address
from meterlog.driver.contract import Connection, Meter, Traffic
from meterlog.errors import AddressError, UsageError
from meterlog.reading import Flag, Quantity, Reading
from meterlog.text.typed import typed_amount

OPTIONS = frozenset({"scale", "offset", "invert"})
_DC = {"V": Quantity.DC_VOLTAGE, "A": Quantity.DC_CURRENT, "degC": Quantity.TEMPERATURE}
_AC = {"V": Quantity.AC_VOLTAGE, "A": Quantity.AC_CURRENT}
_RATIO = re.compile(r"([^/]+)/([^/]+)")
_BARE_UNIT = re.compile(r"[^\d.,+-].*")
_DIGITS = 12
"""Significant digits kept: more than any display has, fewer than show that 0.1 is no binary fraction."""


@dataclass(frozen=True, slots=True)
class Conversion:
    """Holds what becomes of a reading.

    Attributes:
        factor: of the value and of one count.
        becomes: by quantity shown, the quantity that it means.
        invert: whether the sign of DC voltage and current is turned.
        offset: added last.
        offset_unit: only to readings in this unit; '' for none.
    """

    factor: float
    becomes: dict[Quantity, Quantity]
    invert: bool
    offset: float
    offset_unit: str

    @classmethod
    def of(cls, address: Address) -> Conversion | None:
        """The conversion that an address asks for; None where it asks for none.

        Raises:
            AddressError: an option cannot be understood.
        """
        if not OPTIONS & address.options.keys():
            return None
        factor, becomes = _scale(address) if "scale" in address.options else (1.0, {})
        offset, unit = _offset(address) if "offset" in address.options else (0.0, "")
        return cls(factor, becomes, address.choice("invert", ("yes", "no"), "no") == "yes", offset, unit)

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
        if self.offset_unit == quantity.unit and quantity not in _AC.values():
            value += self.offset
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
        f"in '{address}' scale must have the form 100A/V or 10mV/A (a clamp), 10V/V (a divider), 1000A/A or 1mV/degC,"
        f" above nothing, not '{address.options['scale']}'"
    )


def _offset(address: Address) -> tuple[float, str]:
    text = address.options["offset"]
    try:
        value, unit = typed_amount(text)
    except UsageError as error:
        raise AddressError(f"in '{address}' offset cannot be read: {error}") from None
    if not unit:
        raise AddressError(f"in '{address}' offset wants its unit, for example {text}mA: the dial may be turned")
    return value, unit
