"""A meter as the recorder needs it: its parsed address, with the options that concern the recording."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache
from pathlib import PurePath
from typing import Protocol, runtime_checkable

from meterlog.address import Address
from meterlog.capture.same_device import check_each_once
from meterlog.checks import Check, checks_for, note_of, unchecked
from meterlog.driver import Connection, Conversion, Driver, Meter, driver_errors, load_driver, open_converted
from meterlog.driver.conversion import offsets_of
from meterlog.errors import AddressError, UsageError
from meterlog.reading import Accuracy, Quantity
from meterlog.settings import meter_address
from meterlog.text.times import today
from meterlog.text.typed import typed_amount, typed_number
from meterlog.transports.tap import RawSink

MOST_COLUMNS = 64
"""Columns whose labels are looked through where their number is unknown: more than any meter shows (a guess)."""

_ACCURACY = re.compile(r"\s*([0-9.,]+)\s*(?:%|pct)\s*(?:[+ ]\s*([0-9.,]+))?\s*(?:[+ ]\s*([0-9.,]+\s*[^\d\s.,+]+))?\s*")


@runtime_checkable
class TappableMeter(Protocol):
    """A meter whose bytes can be kept."""

    @property
    def byte_time_s(self) -> float:
        """One byte's time on the wire, s."""
        ...

    def tapped(self, sink: RawSink) -> Meter:
        """The same meter, with every byte handed to the sink as well."""
        ...


@runtime_checkable
class LabelledColumns(Protocol):
    """A meter that names its columns."""

    def column_label(self, column: int) -> str:
        """Return the label of a column."""
        ...


@runtime_checkable
class CountsItsColumns(Protocol):
    """A meter that knows before it is opened how many columns it has."""

    @property
    def columns(self) -> int:
        """The number of columns."""
        ...


@runtime_checkable
class FindsItsDriver(Protocol):
    """A meter whose driver is found by listening."""

    @property
    def found(self) -> Address | None:
        """The address with the driver that fits; None before the first opening."""
        ...

    @property
    def failures(self) -> tuple[str, ...]:
        """A sentence for each driver that failed while it listened, and was left out."""
        ...


@dataclass(frozen=True, slots=True)
class MeterSetup:
    """A meter to record.

    Attributes:
        address: as typed, taken apart.
        meter: opens it.
        labels: what the person calls its columns, in order; columns beyond them are numbered. A meter that turns
            out to have one column takes them as one text with commas.
        points: the test points of its columns, likewise.
        accuracy: the meter's stated accuracy.
        fixed_unit: the unit of its fixed part, which counts for what is measured in that unit; empty for none.
        interval_s: its declared display interval, s; None where it is not known.
        watchdog_s: silence after which its link is taken for lost, s; None: by its interval; 0: never.
        least_silence_s: where it goes by the interval, the least such silence, s.
        checks: the meters that were compared with their displays, read beforehand: no damaged file ends a recording.
    """

    address: Address
    meter: Meter
    labels: tuple[str, ...]
    points: tuple[str, ...]
    accuracy: Accuracy
    interval_s: float | None
    watchdog_s: float | None
    least_silence_s: float = Driver.least_silence_s
    checks: tuple[Check, ...] = ()
    fixed_unit: str = ""

    def accuracy_of(self, quantity: Quantity) -> Accuracy:
        """The accuracy for one quantity: the fixed error of a clamp is none of the meter's ohms."""
        return self.accuracy if quantity.unit == self.fixed_unit else self.accuracy._replace(fixed=0.0)

    @property
    def accuracy_unstated(self) -> str:
        """Say that errors leave out those of a clamp or divider; empty where there is none, or its accuracy is said."""
        conversion = Conversion.of(self.address)
        if "accuracy" in self.address.options or conversion is None or not conversion.scale or conversion.spread:
            return ""
        return (
            f"{self.address} scales without an accuracy: every error stated leaves out that of the clamp or divider,"
            " often the larger; add it from its maker's data, for example accuracy=2pct%2B5"
        )

    @property
    def checked(self) -> str:
        """Say when it was compared with its display; empty where it never was."""
        return note_of(self.reached_by, self.checks)

    @property
    def old_zero(self) -> str:
        """Say that an offset was measured on another day; empty where none was."""
        old = [offset.day for offset in offsets_of(self.address).values() if offset.day and offset.day != str(today())]
        if not old:
            return ""
        return (
            f"{self.address.scheme} on {self.address.target} was nulled on {min(old)}: leads, and clamps above all,"
            " drift; 'meterlog meters --zero' nulls it again"
        )

    def converted(self, column: int, quantity: Quantity) -> str:
        """Say what is done to a column's readings of a quantity before they are kept; empty for nothing."""
        conversion = Conversion.of(self.address)
        return "" if conversion is None or column else conversion.words(quantity)

    @property
    def unchecked(self) -> str:
        """Say that nobody has verified its byte table, nor compared it with its display; empty where somebody did."""
        return unchecked(self.reached_by, self.checks)

    @property
    def name(self) -> str:
        """The meter's."""
        return self.meter.name

    def open(self) -> Connection:
        """Open the meter; its readings come as the address means them: scaled, inverted, with the offset."""
        return open_converted(self.meter, self.address)

    def label(self, column: int) -> str:
        """Return the label of a column."""
        labels = self._each("label", self.labels)
        if column < len(labels):
            return labels[column]
        if not labels and isinstance(self.meter, LabelledColumns):
            return self.meter.column_label(column)
        target = self.address.target
        named = f"{self.address.scheme} {PurePath(target).name or target}" if target else self.meter.name
        if column:
            return f"{named} {column + 1}"  # not by the first one's label: its words would judge it as what that is
        return labels[0] if labels else named

    @property
    def columns(self) -> int | None:
        """The number of columns of the meter; None where only its readings tell."""
        if isinstance(self.meter, CountsItsColumns):
            return self.meter.columns
        return 1 if _driver(self.reached_by.scheme).one_column(self.reached_by) else None

    @property
    def columns_named(self) -> int:
        """The number of columns known or named before the first reading; at least 1."""
        return self.columns or max(1, len(self._each("label", self.labels)), len(self._each("point", self.points)))

    def may_show(self, label: str) -> bool:
        """Tell whether one of its columns may turn out to have this label, in upper or lower case."""
        unfound = isinstance(self.meter, FindsItsDriver) and self.meter.found is None
        if unfound and not self.labels:
            return True  # its label will have the driver's name
        labels = [self.label(column) for column in range(self.columns or MOST_COLUMNS)]
        as_one_text = [self.address.options["label"].strip()] if unfound else []
        return label.lower() in (one.lower() for one in labels + as_one_text)

    @property
    def reached_by(self) -> Address:
        """The address that says what really reads the meter: with the driver found, where it was to be found."""
        found = self.meter.found if isinstance(self.meter, FindsItsDriver) else None
        return found or self.address

    def point(self, column: int) -> str:
        """A column's test point."""
        points = self._each("point", self.points)
        return points[column] if column < len(points) else ""

    def _each(self, option: str, given: tuple[str, ...]) -> tuple[str, ...]:
        """Return what an option gives for each column; asked once there is a reading, when the driver has been found.

        What was typed for a driver yet to be found is not cut either where its commas may be part of the text.
        """
        if len(given) < 2:
            return given
        as_text = _differ(self.labels, self.points) or _driver(self.reached_by.scheme).one_column(self.reached_by)
        return (self.address.options[option].strip(),) if as_text else given

    def tapped(self, sink: RawSink) -> MeterSetup:
        """This meter with its bytes kept.

        Raises:
            UsageError: it has none (a simulated one, a replayed session).
        """
        return replace(self, meter=self._tappable().tapped(sink))

    @property
    def byte_time_s(self) -> float:
        """One byte's time on the wire, s.

        Raises:
            UsageError: the meter has no bytes.
        """
        return self._tappable().byte_time_s

    def _tappable(self) -> TappableMeter:
        if not isinstance(self.meter, TappableMeter):
            raise UsageError(f"{self.meter.name} gives readings but no bytes, so there are no raw bytes to keep")
        return self.meter


def meter_setup(text: str) -> MeterSetup:
    """The meter behind an address as typed, or behind the name of a saved one.

    Raises:
        AddressError, DriverError, SettingsError: with one plain sentence.
        LinkError, SessionError: a file that is to be replayed cannot be read.
    """
    address = meter_address(text)
    with driver_errors(address.scheme):
        setup = _setup(address, _driver(address.scheme))
        _ = setup.columns_named, setup.meter.name  # asked again where a defect would end more than this meter
        return setup


def _setup(address: Address, driver: Driver) -> MeterSetup:
    driver.check(address)
    conversion = Conversion.of(address)  # a wrong option shows now
    accuracy, fixed_unit = _accuracy(address, conversion.spread if conversion is not None else 0.0)
    watchdog_s = None if driver.silence_is_loss else 0.0
    if "watchdog_s" in address.options:
        watchdog_s = address.number("watchdog_s", 0.0)
    meter = driver.meter(address)
    labels, points = _list(address, "label"), _list(address, "point")
    if _differ(labels, points) and not (isinstance(meter, FindsItsDriver) or driver.one_column(address)):
        raise AddressError(
            f"in '{address}' a comma in label or point begins the next column, but one names one column and the other"
            " several: name equally many in both, or write a semicolon in place of a comma inside a text"
        )
    return MeterSetup(
        address,
        meter,
        labels,
        points,
        accuracy,
        address.number("interval_s", 1.0, least=1e-4) if "interval_s" in address.options else None,
        watchdog_s,
        driver.least_silence_s,
        checks_for(address),
        fixed_unit,
    )


def meter_setups(texts: Sequence[str]) -> list[MeterSetup]:
    """The meters behind several addresses as typed, in their order.

    Raises:
        MeterlogError: as `meter_setup`; or two of them are the same device.
    """
    setups = [meter_setup(text) for text in texts]
    check_each_once([setup.address for setup in setups])
    return setups


_driver = cache(load_driver)  # finding one looks through every installed package: 15 ms, for each of ten meters


def _list(address: Address, option: str) -> tuple[str, ...]:
    text = address.options.get(option, "")
    return tuple(part.strip() for part in text.split(",")) if text else ()


def _differ(labels: tuple[str, ...], points: tuple[str, ...]) -> bool:
    """Tell whether one of the two names one column and the other several: a comma may be part of a text then."""
    return min(len(labels), len(points)) == 1 < max(len(labels), len(points))


def _accuracy(address: Address, spread: float) -> tuple[Accuracy, str]:
    """The meter's stated accuracy, widened by the share by which its scale may be off, and its fixed part's unit."""
    text = address.options.get("accuracy")
    if text is None:
        return Accuracy(Accuracy().share + spread), ""
    match = _ACCURACY.fullmatch(text)
    try:
        if match is not None:
            fixed, unit = typed_amount(match[3]) if match[3] else (0.0, "")
            return Accuracy(typed_number(match[1]) / 100 + spread, typed_number(match[2] or "0"), fixed), unit
    except UsageError:
        pass
    raise AddressError(
        f"in '{address}' accuracy must have the form 0.8pct+3 (0.8 % of the reading + 3 counts) or, of a clamp,"
        f" 2pct+3+50mA (and 50 mA whatever it reads), not '{text}'"
    )
