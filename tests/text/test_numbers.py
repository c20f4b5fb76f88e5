"""Cells as tables show them: numbers, marks, units, overload words, decimals, times."""

from __future__ import annotations

import math
from collections import Counter
from datetime import UTC, datetime

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from meterlog.errors import TableError
from meterlog.exchange.table.even_cells import even_columns
from meterlog.exchange.table.options import ImportOptions
from meterlog.exchange.table.time_kind import TimeSurvey
from meterlog.exchange.table.time_text import TimeReader
from meterlog.reading import Flag, Quantity
from meterlog.text.numbers import (
    BLANK,
    FOREIGN,
    GOOD,
    TEXT,
    Cell,
    CellReader,
    MarkSurvey,
    ShownDecimals,
    plain_numbers,
)
from meterlog.text.units import Unit, find_unit, split_header

VOLT = Unit("V", 0)


@pytest.mark.parametrize(
    ("cell", "decimal", "value", "decimals"),
    [
        ("12.60", ".", 12.60, 2),
        (" -0.5 ", ".", -0.5, 1),
        ("\u22124.2", ".", -4.2, 1),
        ("+7", ".", 7.0, 0),
        (".25", ".", 0.25, 2),
        ("12,60", ",", 12.6, 2),
        ("1.234,5", ",", 1234.5, 1),
        ("1,234.5", ".", 1234.5, 1),
        ("1 234,5", ",", 1234.5, 1),
        ("1'234.5", ".", 1234.5, 1),
        ("1\u202f234,5", ",", 1234.5, 1),
        ("1.5e-3", ".", 0.0015, 4),
        ("12.34 mV", ".", 0.01234, 5),
        ("12.34mV", ".", 0.01234, 5),
        ("0.47 kV DC", ".", 470.0, -1),
        ("250 µV", ".", 0.00025, 6),
    ],
)
def test_a_number_is_read_with_what_its_display_shows(cell: str, decimal: str, value: float, decimals: int) -> None:
    found = CellReader(Quantity.DC_VOLTAGE, VOLT, decimal)[cell]
    assert found == Cell(value, decimals, 0, GOOD)


@pytest.mark.parametrize("cell", "OL ol O.L 0.L .OL OL. 0L overload Over inf +inf Infinity ∞ 9.9E37 OVERRANGE".split())  # noqa: SIM905
def test_overload_words_are_infinite_with_the_flag(cell: str) -> None:
    found = CellReader(Quantity.RESISTANCE, Unit("ohm", 0), ".")[cell]
    assert (found.value, found.flags, found.state) == (math.inf, Flag.OVERLOAD, GOOD)
    for less in (f"-{cell}", f"- {cell}") if cell[0] not in "+" else ():
        assert CellReader(Quantity.RESISTANCE, Unit("ohm", 0), ".")[less].value == -math.inf


def test_overload_words_take_a_unit_and_can_be_added() -> None:
    cells = CellReader(Quantity.RESISTANCE, Unit("ohm", 0), ".", ("> range",))
    assert cells["OL MΩ"].value == math.inf
    assert cells["O.L kOhm"].value == math.inf
    assert cells["> RANGE"].value == math.inf


@pytest.mark.parametrize(
    ("cell", "state"),
    [("", BLANK), ("  ", BLANK), ("---", BLANK), ("NaN", BLANK), ("9.91E37", BLANK), ("hello", TEXT), ("1_000", TEXT),
     ("1.2.3", TEXT), ("12,5", TEXT), ("12 34", TEXT), ("5 A", FOREIGN), ("OLD", TEXT)],
)  # fmt: skip
def test_what_is_no_reading_never_becomes_one(cell: str, state: int) -> None:
    found = CellReader(Quantity.DC_VOLTAGE, VOLT, ".")[cell]
    assert found.state == state
    assert math.isnan(found.value)


@given(
    st.lists(
        st.tuples(*[st.from_regex(r"\A-?([0-9]{1,7}(\.[0-9]{0,8})?|\.[0-9]{1,15})\Z")] * 2), min_size=1, max_size=50
    ),
    st.sampled_from(["\n", "\r\n"]),
)
def test_even_cells_give_what_the_careful_way_gives(rows: list[tuple[str, str]], end: str) -> None:
    columns = even_columns("".join(f"{a};{b}{end}" for a, b in rows), ";", 2)
    assert columns is not None
    for column, cells in zip(columns, zip(*rows, strict=True), strict=True):
        assert list(column) == [column[i] for i in range(len(cells))] == list(cells)
        assert column.numbers is not None
        careful = [CellReader(Quantity.DC_VOLTAGE, VOLT, ".")[cell] for cell in cells]
        assert column.numbers.value.tobytes() == np.array([cell.value for cell in careful]).tobytes()
        assert column.numbers.decimals.tolist() == [cell.decimals for cell in careful]
        numbers = Counter((c.value, c.decimals) for c in careful)
        assert sorted(column.counted().values()) == sorted(numbers.values())
        again = column[:1].before(column[1:])
        assert list(again) == list(cells)
        assert again.chosen(np.arange(len(cells)) % 2 == 0).numbers is not None


@pytest.mark.parametrize(
    "text",
    [
        "1;2\n3\n",
        "1;2;3\n4;5\n",
        "1;\n",
        ";1\n",
        "1;2",
        "1;2\n\n",
        "1;+2\n",
        "1;2 \n",
        "1;2\r3;4\n",
        "1;1e3\n",
        '1;"2"\n',
        "",
    ],
)
def test_what_is_not_even_is_left_to_the_careful_way(text: str) -> None:
    assert even_columns(text, ";", 2) is None


@pytest.mark.parametrize("cell", ["-", ".", "1.2.3", "1-2", "--1", "-.", "1234567890123456", "0.1234567890123456"])
def test_even_cells_that_are_no_short_number_are_left_to_the_careful_way(cell: str) -> None:
    columns = even_columns(f"1;{cell}\n", ";", 2)
    assert columns is not None
    assert columns[1].numbers is None
    assert list(columns[1]) == [cell]


@given(st.lists(st.from_regex(r"\A[+-]?[0-9]{1,6}(\.[0-9]{0,8})?\Z"), min_size=1, max_size=50))
def test_the_quick_way_gives_what_the_careful_way_gives(cells: list[str]) -> None:
    plain = plain_numbers(cells)
    assert plain is not None
    careful = [CellReader(Quantity.DC_VOLTAGE, VOLT, ".")[cell] for cell in cells]
    assert plain[0].tobytes() == np.array([cell.value for cell in careful]).tobytes()
    assert plain[1].tolist() == [cell.decimals for cell in careful]


@pytest.mark.parametrize(
    ("cells", "delimiter", "mark"),
    [
        (["12.6", "1.234"], ",", "."),
        (["1.234", "2.345"], ",", "."),
        (["12,6", "1.234,5"], ";", ","),
        (["1,234.5"], ";", "."),
        (["1.234.567"], ";", ","),
        (["0.123"], ";", "."),
        (["17", "18"], ";", "."),
    ],
)
def test_the_decimal_mark_is_found_where_one_is_possible(cells: list[str], delimiter: str, mark: str) -> None:
    survey = MarkSurvey()
    survey.see(cells)
    assert survey.decimal_mark(delimiter) == mark


@pytest.mark.parametrize(
    ("cells", "delimiter", "readings"),
    [(["1,234"], ",", ("1.234", "1234", "--decimal")), (["1.234"], ";", ("1.234", "1234", "--decimal")),
     (["1,5", "1.5"], ";", ("1,5", "1.5", "--decimal"))],
)  # fmt: skip
def test_an_unclear_decimal_mark_is_asked_for(cells: list[str], delimiter: str, readings: tuple[str, ...]) -> None:
    survey = MarkSurvey()
    survey.see(cells)
    with pytest.raises(TableError) as caught:
        survey.decimal_mark(delimiter)
    assert all(reading in str(caught.value) for reading in readings)


def _shown(cells: list[str]) -> list[float]:
    shown, reader = ShownDecimals(), CellReader(Quantity.DC_VOLTAGE, VOLT, ".")
    for cell in cells:
        shown.see(cell, reader[cell].decimals)
    return [shown.resolution(reader[cell].decimals) for cell in cells]


def test_resolution_is_by_the_column_where_zeros_are_dropped_and_by_the_cell_where_they_are_kept() -> None:
    assert _shown(["12.6", "12.61", "13.0"]) == [0.01, 0.01, 0.01]
    assert _shown(["12.60", "12.61", "124.5"]) == [0.01, 0.01, 0.1]
    assert _shown(["1.50 mV", "2.31 mV", "12.25 V"]) == [1e-5, 1e-5, 0.01]
    assert math.isnan(_shown(["OL"])[0])


@pytest.mark.parametrize(
    ("text", "unit"),
    [("mV", Unit("V", -3)), ("kOhm", Unit("ohm", 3)), ("MΩ", Unit("ohm", 6)), ("M\u2126", Unit("ohm", 6)),
     ("µA", Unit("A", -6)), ("uA", Unit("A", -6)), ("VDC", VOLT), ("V AC", VOLT), ("degC", Unit("degC", 0)),
     ("nF", Unit("F", -9)), ("kHz", Unit("Hz", 3)), ("%", Unit("%", 0)), ("bananas", None)],
)  # fmt: skip
def test_units_as_people_write_them(text: str, unit: Unit | None) -> None:
    assert find_unit(text) == unit


def test_capital_mv_is_asked_about() -> None:
    with pytest.raises(TableError, match="milli or as mega"):
        find_unit("MV")


@pytest.mark.parametrize(
    ("header", "name", "unit"),
    [("Voltage [mV]", "Voltage", "mV"), ("U (V)", "U", "V"), ("I/mA", "I", "mA"), ("feed_mV", "feed", "mV"),
     ("pump feed", "pump feed", ""), ("time_s", "time", "s"), ("t [ms]", "t", "ms")],
)  # fmt: skip
def test_units_in_headers(header: str, name: str, unit: str) -> None:
    assert split_header(header)[:2] == (name, unit)


def _reader(
    cells: list[str], *, title: str = "", order: str | None = None, clock: str | None = None, decimal: str = "."
) -> TimeReader:
    survey = TimeSurvey()
    survey.see(cells)
    return survey.reader(ImportOptions(("time",), (), date_order=order, clock=clock), title, decimal)


def _epoch(*moment: int) -> float:
    return datetime(*moment, tzinfo=UTC).timestamp()  # type: ignore[arg-type, misc]


@pytest.mark.parametrize(
    ("cell", "seconds"),
    [
        ("12.5", 12.5),
        ("1700000000.25", 1700000000.25),
        ("1700000000250", 1700000000.25),
        ("2024-05-01T12:00:00.5", _epoch(2024, 5, 1, 12) + 0.5),
        ("2024-05-01 12:00:00,5", _epoch(2024, 5, 1, 12) + 0.5),
        ("2024-05-01T12:00:00+02:00", _epoch(2024, 5, 1, 10)),
        ("2024-05-01T12:00:00Z", _epoch(2024, 5, 1, 12)),
        ("2024/05/01 12:00:00", _epoch(2024, 5, 1, 12)),
        ("13/02/2024 12:00:00", _epoch(2024, 2, 13, 12)),
        ("02/13/2024 1:00:00 PM", _epoch(2024, 2, 13, 13)),
        ("01.02.2024 12:00:00,25", _epoch(2024, 2, 1, 12) + 0.25),
        ("1-Feb-2024 12:00", _epoch(2024, 2, 1, 12)),
        ("13.02.24 12:00", _epoch(2024, 2, 13, 12)),
        ("13/02/2024 12:00:00+01:00", _epoch(2024, 2, 13, 11)),
        ("12:00:00.5", 43200.5),
        ("12:00:05 AM", 5.0),
        ("02:03.5", 123.5),
        ("75:30", 75 * 60 + 30.0),
    ],
)
def test_times_of_every_kind(cell: str, seconds: float) -> None:
    reader = _reader([cell])
    assert reader.one(cell) == pytest.approx(seconds, abs=1e-6)
    assert np.array(reader.many([cell, cell])).tolist() == [reader.one(cell)] * 2


@pytest.mark.parametrize("cell", ["", "hello", "1_000", "nan", "2024-13-01T00:00:00", "32/01/2024", "12:61:00"])
def test_no_time_is_made_of_what_is_none(cell: str) -> None:
    for good in ("12.5", "2024-05-01T12:00:00", "13/02/2024 12:00:00", "12:00:00"):
        with pytest.raises(ValueError):
            _reader([good]).one(cell)


def test_milliseconds_by_the_header() -> None:
    assert _reader(["1500"], title="t [ms]").one("1500") == 1.5
    assert _reader(["1500,5"], title="t [ms]", decimal=",").one("1500,5") == 1.5005


def test_an_unclear_date_order_shows_both_readings_and_any_settling_date_ends_it() -> None:
    with pytest.raises(TableError) as caught:
        _reader(["01/02/2024 12:00", "03/02/2024 12:00"])
    for words in ("1 February 2024", "2 January 2024", "--date-order dmy", "--date-order mdy"):
        assert words in str(caught.value)
    assert _reader(["01/02/2024 12:00", "23/02/2024 12:00"]).one("01/02/2024") == _epoch(2024, 2, 1)
    assert _reader(["01/02/2024 12:00"], order="mdy").one("01/02/2024") == _epoch(2024, 1, 2)
    with pytest.raises(TableError, match="not all in one order"):
        _reader(["23/02/2024 12:00", "02/23/2024 12:00"])


def test_two_part_clock_times_are_asked_about() -> None:
    with pytest.raises(TableError, match="12 h 30 min or as 12 min 30 s"):
        _reader(["12:30"])
    assert _reader(["12:30"], clock="hm").one("12:30") == 45000.0
    assert _reader(["12:30"], clock="ms").one("12:30") == 750.0
