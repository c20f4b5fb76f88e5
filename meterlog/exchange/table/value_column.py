"""A column of values: its quantity, the unit of its numbers, and how its cells are understood."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from meterlog.errors import TableError, UsageError
from meterlog.exchange.table.options import ImportOptions, nth
from meterlog.exchange.table.question import Question
from meterlog.exchange.table.sentinels import ask_about_sentinels
from meterlog.reading import Quantity
from meterlog.text.numbers import FOREIGN, CellReader, MarkSurvey, ShownDecimals
from meterlog.text.units import Unit, find_unit, guess_quantity, named_unit, split_header


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

    @property
    def spelled(self) -> str:
        """Its quantity and unit, for a person."""
        unit = self.unit
        if unit is None:
            return f"{self.quantity} in the unit that each cell shows"
        return f"{self.quantity} in {unit.spelled}"


def value_column(
    i: int, place: int, title: str, options: ImportOptions, decimal: str, distinct: Mapping[str, int]
) -> ValueColumn:
    """Understand the column that was asked for as the `i`th, from 0.

    Args:
        i: among those asked for.
        place: in the file.
        title: its header cell.
        options: of the command.
        decimal: the decimal mark.
        distinct: the different cells of it and how often each comes.

    Raises:
        Question: its quantity or unit is not stated, or stated twice.
        UsageError: there is no such quantity.
    """
    asked = nth(options.quantity, i)
    quantity = None
    if asked is not None:
        try:
            quantity = Quantity(asked)
        except ValueError:
            raise UsageError(f"there is no quantity '{asked}'; there are {', '.join(Quantity)}") from None
    name, header_word, header_unit = split_header(title, quantity)
    option = nth(options.unit, i)
    if quantity is None:
        quantity = _guess(i, title, header_unit, option)
    unit = _settle_unit(title, header_word, header_unit, option, quantity, options.unit_from)
    _ask_about_marks(title, options, distinct)
    cells = CellReader(quantity, unit, decimal, options.overload, options.blank, options.number)
    shown = ShownDecimals()
    for cell in distinct:
        shown.see(cell, cells[cell].decimals)
    if unit is None and any(cells[cell].state == FOREIGN for cell in distinct):
        raise Question(
            f"the column '{title}' does not state its unit: give --unit, for example --unit {quantity.unit}",
            "unit", (quantity.unit,), i,
        )  # fmt: skip
    ask_about_sentinels(title, cells, distinct)
    label = options.label[i] if options.label else (name if unit == header_unit else title)
    return ValueColumn(place, title, label or title, nth(options.point, i) or "", quantity, unit, cells, shown)


def _ask_about_marks(title: str, options: ImportOptions, distinct: Mapping[str, int]) -> None:
    """Look whether a column has points in some cells and commas in others: one of them groups, or two displays wrote.

    Raises:
        Question: it has, and nobody said which is the decimal mark.
    """
    marks = MarkSurvey()
    marks.see(distinct)
    if options.decimal is None and (mixed := marks.mixed):
        raise Question(
            f"'{title}' has a point in some cells ('{mixed[0]}') and a comma in others ('{mixed[1]}'): if both are"
            " decimal marks, make them one; else say which is with --decimal . or --decimal ,",
            "decimal",
            (".", ","),
        )


def _guess(i: int, title: str, header_unit: Unit | None, option: str | None) -> Quantity:
    guessed = guess_quantity(find_unit(option) if option else header_unit)
    if guessed is None:
        raise Question(
            f"the column '{title}' does not state its quantity: give --quantity, one of {', '.join(Quantity)}",
            "quantity", (), i,
        )  # fmt: skip
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
