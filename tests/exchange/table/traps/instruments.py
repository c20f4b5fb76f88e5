"""Traps of what instruments and programs write: pages, padding, zones in several spellings, nested columns."""

from __future__ import annotations

import io
import re
from collections.abc import Iterator, Sequence
from datetime import UTC, datetime, timedelta
from decimal import Decimal

import pyarrow as pa
import pyarrow.parquet as pq

from tests.exchange.table.traps.trap import ROWS, Channel, Trap, Truth, thousandths

_TRUTH = Truth(11)
_PLAIN = [_TRUTH.channel()]
_EACH_SECOND = [Channel("U", "dc_voltage", [float(i) for i in range(ROWS)], _TRUTH.volts)]


def _table(title: str, cells: Sequence[str], mark: str = ",", value_mark: str = ".") -> str:
    values = [thousandths(mv, value_mark) for mv in _TRUTH.millivolts]
    return f"{title}{mark}U [V]\n" + "".join(
        f"{cell}{mark}{value}\n" for cell, value in zip(cells, values, strict=True)
    )


def traps() -> Iterator[Trap]:
    """Give them."""
    seconds = [thousandths(ms) for ms in _TRUTH.milliseconds]
    plain = _table("time_s", seconds)
    lines = plain.splitlines(keepends=True)
    yield Trap("zero bytes behind the last row", plain.encode() + bytes(5000), _PLAIN)
    pages = "".join(lines[:12]) + "\n\fPage 2\n" + lines[0] + "".join(lines[12:])
    yield Trap("pages with their header again", pages.encode(), _PLAIN, markers=[(5.0, "Page 2")])
    points = _table("time_s", seconds, ";", ",")
    asked = "'12[.,][0-9]{3}' can be read as 12[.][0-9]{3} or as 12[0-9]{3}: say which with --decimal"
    yield Trap("points in the times, commas in the values", points.encode(), _PLAIN, asked=asked)
    rows = "".join(f"{line}5\n" for line in points.splitlines()[1:])
    longer = [Channel("U", "dc_voltage", _TRUTH.time_s, [(mv * 10 + 5) / 10_000 for mv in _TRUTH.millivolts])]
    yield Trap("points in the times, commas before four digits", f"time_s;U [V]\n{rows}".encode(), longer)
    commas = _table("time_s", [thousandths(ms, ",") for ms in _TRUTH.milliseconds], ";")
    yield Trap("commas in the times, points in the values", commas.encode(), _PLAIN, asked=asked,
               answer=("--decimal", "."))  # fmt: skip
    shared = [str(1_714_550_400 + i // 3) for i in range(ROWS)]
    yield Trap("three rows for each second since 1970", _table("timestamp", shared).encode(),
               [Channel("U", "dc_voltage", [i / 3 for i in range(ROWS)], _TRUTH.volts)])  # fmt: skip
    day = [f"2024-05-01{{}}10:00:{i:02d}" for i in range(ROWS)]
    yield Trap(
        "offsets of whole hours", _table("time", [f"{one.format(' ')}+02" for one in day]).encode(), _EACH_SECOND
    )
    named = [f"{one.format('T')}-04:00[America/New_York]" for one in day]
    yield Trap("offsets with the zone's name", _table("time", named).encode(), _EACH_SECOND)
    short = [f"{one.format(' ')} CEST" for one in day]
    yield Trap("a zone's short name", _table("time", short).encode(), _EACH_SECOND,
               asked="--time-format '%Y-%m-%d %H:%M:%S CEST'")  # fmt: skip
    weeks = [f"2024-W18-3T10:00:{i:02d}" for i in range(ROWS)]
    yield Trap("dates by their week", _table("time", weeks).encode(), _EACH_SECOND, asked="%G-W%V-%uT%H:%M:%S")
    powers = [f"{thousandths(mv * 10, ',')}E-01" for mv in _TRUTH.millivolts]
    rows = "".join(f"{second};{power}\n" for second, power in zip(seconds, powers, strict=True))
    yield Trap("powers of ten behind a comma", ("time_s;U [V]\n" + rows).encode(), _PLAIN)
    yield Trap("Parquet of decimals, a zone and nested columns", _nested(), _PLAIN, suffix=".parquet")


def _nested() -> bytes:
    start = datetime(2024, 3, 31, 0, 59, 55, tzinfo=UTC)  # clocks go forward in Berlin within it
    moments = [start + timedelta(milliseconds=ms) for ms in _TRUTH.milliseconds]
    columns = {
        "when": pa.array(moments, pa.timestamp("us", tz="Europe/Berlin")),
        "U [V]": pa.array([Decimal(mv) / 1000 for mv in _TRUTH.millivolts], pa.decimal128(10, 3)),
        "meta": pa.array([{"unit": "V", "range": 60}] * ROWS),
        "raw": pa.array([[1, 2]] * ROWS),
    }
    out = io.BytesIO()
    pq.write_table(pa.table(columns), out)
    return out.getvalue()


def refused() -> Iterator[tuple[str, bytes, str]]:
    """Make what no rule reads: the column is named, with the cell that is no number."""
    seconds = [thousandths(ms) for ms in _TRUTH.milliseconds]
    for name, cell in (("a minus behind the number", "12-"), ("minus as brackets", "(12)"), ("a bare prefix", "12m")):
        rows = "".join(f"{second},{cell}\n" for second in seconds)
        pattern = rf"no column holds .* \('time_s': time; 'I \[A\]': '{re.escape(cell)}' is no number"
        yield name, ("time_s,I [A]\n" + rows).encode(), pattern
