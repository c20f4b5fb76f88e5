"""The options of an import, and what the first pass over the file found out before the rows are read."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from datetime import date, datetime, tzinfo
from pathlib import Path

from meterlog.errors import TableError, UsageError
from meterlog.exchange.table.layout import Layout, as_delimiter, find_layout, head_of
from meterlog.exchange.table.remarks import Remarks
from meterlog.exchange.table.text_rows import Block, blocks, find_encoding, text_lines
from meterlog.exchange.table.time_kind import TimeSurvey
from meterlog.exchange.table.time_text import TimeReader
from meterlog.reading import Quantity
from meterlog.text.numbers import FOREIGN, CellReader, MarkSurvey, ShownDecimals
from meterlog.text.units import Unit, find_unit, guess_quantity, named_unit, split_header


@dataclass(frozen=True, slots=True)
class ImportOptions:
    """The words of the command; None where the file itself shall say. See `meterlog import --help`."""

    time: tuple[str, ...]
    value: tuple[str, ...]
    quantity: tuple[str, ...] = ()
    unit: tuple[str, ...] = ()
    label: tuple[str, ...] = ()
    point: tuple[str, ...] = ()
    marker: str | None = None
    channel: str | None = None
    encoding: str | None = None
    delimiter: str | None = None
    decimal: str | None = None
    overload: tuple[str, ...] = ()
    time_unit: str | None = None
    date_order: str | None = None
    clock: str | None = None
    utc_offset: tzinfo | None = None
    started_at: datetime | None = None
    date: date | None = None
    unit_from: str | None = None


@dataclass(frozen=True, slots=True)
class ValueColumn:
    """A column of values understood."""

    place: int
    title: str
    label: str
    point: str
    quantity: Quantity
    unit: Unit | None
    cells: CellReader
    shown: ShownDecimals


@dataclass(frozen=True, slots=True)
class ImportPlan:
    """Everything about the file but its rows."""

    path: Path
    options: ImportOptions
    encoding: str
    layout: Layout
    decimal: str
    time_places: tuple[int, ...]
    time: TimeReader
    values: tuple[ValueColumn, ...]
    marker_place: int | None
    channel_place: int | None
    channel_names: tuple[str, ...] = field(default=())

    def described(self) -> list[str]:
        """Describe what was understood, one line for each thing."""
        named = {",": "comma", ";": "semicolon", "\t": "tab", "|": "bar", "space": "blanks"}
        mark = named.get(self.layout.delimiter, self.layout.delimiter)
        header = f"header in line {self.layout.header_line}" if self.layout.header_line else "no header"
        lines = [
            f"file: {self.encoding}, columns separated by {mark}, decimal mark '{self.decimal}', {header}",
            f"time: {' and '.join(self.layout.title(p) for p in self.time_places)}, read as {self.time.description}",
        ]
        for column in self.values:
            lines.append(f"value: {column.title}, read as {column.quantity} in {_spelled(column.unit)}")
        if self.marker_place is not None:
            lines.append(f"markers: {self.layout.title(self.marker_place)}")
        if self.channel_place is not None:
            lines.append(f"channels named by {self.layout.title(self.channel_place)}: {', '.join(self.channel_names)}")
        return lines


def make_plan(path: Path, options: ImportOptions) -> ImportPlan:
    """Read the whole file once to see what its columns can mean.

    Raises:
        TableError: something is missing, or can be understood in two ways; the message says how to settle it.
        UsageError: the options do not fit together.
    """
    _check(options)
    encoding = options.encoding or find_encoding(path)
    delimiter = as_delimiter(options.delimiter) if options.delimiter else None
    extra = [name for name in (options.marker, options.channel) if name is not None]
    head = head_of(text_lines(path, encoding))
    layout = find_layout(head, [*options.time, *options.value, *extra], delimiter, str(path))
    places = iter(layout.places)
    time_places = tuple(next(places) for _ in options.time)
    value_places = tuple(next(places) for _ in options.value)
    marker_place = next(places) if options.marker is not None else None
    channel_place = next(places) if options.channel is not None else None
    seen = _Survey(path, encoding, layout, time_places, value_places, channel_place)
    decimal = options.decimal or seen.marks.decimal_mark(layout.delimiter)
    time = seen.time.reader(
        unit=options.time_unit,
        title=layout.title(time_places[-1]),
        order=options.date_order,
        clock=options.clock,
        decimal=decimal,
    )
    values = tuple(_value_column(i, place, layout, options, decimal, seen) for i, place in enumerate(value_places))
    names = tuple(seen.channels)
    return ImportPlan(
        path, options, encoding, layout, decimal, time_places, time, values, marker_place, channel_place, names
    )


_MOST_CHANNELS = 1000
"""More names in a channel column mean that it is another column. A guess."""
_DISTINCT_CELLS = 20_000
"""So many different cells of a column show how many decimals it has. A guess."""
_MARK_CELLS = 1000
"""So many times of a block are looked at for the decimal mark. A guess."""
_MARKED_NUMBER = re.compile(r"[-+]?\d*[.,]\d*")


def _check(options: ImportOptions) -> None:
    columns = len(options.value)
    for name in ("quantity", "unit", "label", "point"):
        given = len(getattr(options, name))
        if given not in (0, 1, columns) or (name == "label" and given == 1 < columns):
            raise UsageError(
                f"--{name} is given {given} times for {columns} value columns: once for each, or once for all"
            )
    if options.channel is not None and columns > 1:
        raise UsageError("with --channel, a file has one column of values: give --value once")


def joined(block: Block, places: tuple[int, ...]) -> list[str]:
    """The cells of one column, or those of a date and a clock column put together."""
    if len(places) == 1:
        return block.columns[places[0]]
    return list(map(" ".join, zip(*(block.columns[place] for place in places), strict=True)))


class _Survey:
    """One pass over the file."""

    def __init__(
        self, path: Path, encoding: str, layout: Layout, time_places: tuple[int, ...],
        value_places: tuple[int, ...], channel_place: int | None,
    ) -> None:  # fmt: skip
        self.marks, self.time = MarkSurvey(), TimeSurvey()
        self.distinct: dict[int, dict[str, None]] = {place: {} for place in value_places}
        self.channels: dict[str, None] = {}
        shape = layout.shape(max((*time_places, *value_places)) + 1)
        for block in blocks(path, encoding, shape, Remarks()):
            times = joined(block, time_places)
            self.time.see(times)
            self.marks.see([time for time in times[:_MARK_CELLS] if _MARKED_NUMBER.fullmatch(time.strip())])
            for place, distinct in self.distinct.items():
                new = set(block.columns[place])
                self.marks.see(new)
                if len(distinct) < _DISTINCT_CELLS:
                    distinct |= dict.fromkeys(new)
            if channel_place is not None:
                self.channels |= dict.fromkeys(map(str.strip, block.columns[channel_place]))
                if len(self.channels) > _MOST_CHANNELS:
                    raise TableError("the channel column names more than 1000 channels: is it the right column?")
        self.channels.pop("", None)


def _value_column(
    i: int, place: int, layout: Layout, options: ImportOptions, decimal: str, seen: _Survey
) -> ValueColumn:
    title = layout.title(place)
    asked = _nth(options.quantity, i)
    quantity = None
    if asked is not None:
        try:
            quantity = Quantity(asked)
        except ValueError:
            raise UsageError(f"there is no quantity '{asked}'; there are {', '.join(Quantity)}") from None
    name, header_word, header_unit = split_header(title, quantity)
    option = _nth(options.unit, i)
    if quantity is None:
        quantity = _guess(title, header_unit, option)
    unit = _settle_unit(title, header_word, header_unit, option, quantity, options.unit_from)
    cells = CellReader(quantity, unit, decimal, options.overload)
    shown = ShownDecimals()
    for cell in seen.distinct[place]:
        shown.see(cell, cells[cell].decimals)
    if unit is None and any(cells[cell].state == FOREIGN for cell in seen.distinct[place]):
        raise TableError(
            f"the column '{title}' does not state its unit: give --unit, for example --unit {quantity.unit}"
        )
    label = options.label[i] if options.label else (name if unit == header_unit else title)
    return ValueColumn(place, title, label or title, _nth(options.point, i) or "", quantity, unit, cells, shown)


def _nth(given: tuple[str, ...], i: int) -> str | None:
    if not given:
        return None
    return given[i] if len(given) > 1 else given[0]


def _guess(title: str, header_unit: Unit | None, option: str | None) -> Quantity:
    guessed = guess_quantity(find_unit(option) if option else header_unit)
    if guessed is None:
        raise TableError(
            f"the column '{title}' does not state its quantity: give --quantity, one of {', '.join(Quantity)}"
        )
    return guessed


def _settle_unit(
    title: str,
    header_word: str,
    header_unit: Unit | None,
    option: str | None,
    quantity: Quantity,
    unit_from: str | None,
) -> Unit | None:
    """The unit of bare numbers: as given, or as the header says (both must agree); None where neither says it."""
    header = header_unit if header_unit is not None and header_unit.fits(quantity) else None
    given = named_unit(option, quantity) if option else None
    if given and header and given != header:
        if unit_from is None:
            raise TableError(
                f"the header '{title}' says {header_word} and --unit says {option}, so 1 can be read as"
                f" 1 {header_word} or as 1 {option}: say which holds with --unit-from header or --unit-from option"
            )
        return header if unit_from == "header" else given
    return given or header


def _spelled(unit: Unit | None) -> str:
    if unit is None:
        return "the unit that each cell shows"
    return unit.base + (f" times 1e{unit.exponent}" if unit.exponent else "")
