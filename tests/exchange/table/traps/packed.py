"""Traps in workbooks, Parquet and Arrow, which are asked the same questions."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Iterator, Sequence
from xml.sax.saxutils import escape

import pyarrow as pa
import pyarrow.parquet as pq

from tests.exchange.table.traps.trap import ROWS, Channel, Trap, Truth

_TYPES = (
    '<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">'
    '<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
    '<Default Extension="xml" ContentType="application/xml"/><Override PartName="/xl/workbook.xml"'
    ' ContentType="application/vnd.openxmlformats-officedocument.spreadsheetml.sheet.main+xml"/></Types>'
)
_RELATIONS = "http://schemas.openxmlformats.org/package/2006/relationships"
_OFFICE = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
_MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
_STYLES = (
    f'<styleSheet xmlns="{_MAIN}"><numFmts count="1"><numFmt numFmtId="164" formatCode="yyyy-mm-dd hh:mm:ss.000"/>'
    '</numFmts><cellXfs count="2"><xf numFmtId="0"/><xf numFmtId="164" applyNumberFormat="1"/></cellXfs></styleSheet>'
)

Cell = str | float | None


def workbook(sheets: dict[str, Sequence[Sequence[Cell]]], dated: int | None = None) -> bytes:
    """A workbook written by hand, as the standard has it (ECMA-376); column `dated` holds dates."""
    out = io.BytesIO()
    numbered = list(enumerate(sheets.items(), 1))
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr("[Content_Types].xml", _TYPES)
        target = f'<Relationship Id="r1" Type="{_OFFICE}/officeDocument" Target="xl/workbook.xml"/>'
        packed.writestr("_rels/.rels", f'<Relationships xmlns="{_RELATIONS}">{target}</Relationships>')
        names = "".join(f'<sheet name="{name}" sheetId="{k}" r:id="r{k}"/>' for k, (name, _) in numbered)
        packed.writestr(
            "xl/workbook.xml", f'<workbook xmlns="{_MAIN}" xmlns:r="{_OFFICE}"><sheets>{names}</sheets></workbook>'
        )
        parts = "".join(
            f'<Relationship Id="r{k}" Type="{_OFFICE}/worksheet" Target="worksheets/sheet{k}.xml"/>'
            for k, _ in numbered
        )
        parts += f'<Relationship Id="r99" Type="{_OFFICE}/styles" Target="styles.xml"/>'
        packed.writestr("xl/_rels/workbook.xml.rels", f'<Relationships xmlns="{_RELATIONS}">{parts}</Relationships>')
        packed.writestr("xl/styles.xml", _STYLES)
        for k, (_, rows) in numbered:
            packed.writestr(f"xl/worksheets/sheet{k}.xml", _sheet(rows, dated))
    return out.getvalue()


def _sheet(rows: Sequence[Sequence[Cell]], dated: int | None) -> str:
    lines = []
    for r, row in enumerate(rows, 1):
        cells = "".join(_cell(f"{chr(65 + c)}{r}", cell, c == dated) for c, cell in enumerate(row) if cell is not None)
        lines.append(f'<row r="{r}">{cells}</row>')
    return f'<worksheet xmlns="{_MAIN}"><sheetData>{"".join(lines)}</sheetData></worksheet>'


def _cell(place: str, cell: str | float, dated: bool) -> str:
    if isinstance(cell, str):
        return f'<c r="{place}" t="inlineStr"><is><t>{escape(cell)}</t></is></c>'
    return f'<c r="{place}"{" s=" + chr(34) + "1" + chr(34) if dated else ""}><v>{cell!r}</v></c>'


def traps() -> Iterator[Trap]:
    """Give them."""
    truth = Truth(6)
    plain = [truth.channel()]
    numbers = [list(pair) for pair in zip(truth.milliseconds, truth.millivolts, strict=True)]
    rows: list[Sequence[Cell]] = [["Logger 7"], ["Time (ms)", "U (mV)"], *numbers]
    yield Trap("a workbook", workbook({"Data": rows}), plain, suffix=".xlsx")
    yield Trap(
        "a workbook with an empty sheet", workbook({"Data": rows, "Sheet2": []}), plain, suffix=".xlsx"
    )  # fmt: skip
    days: list[Sequence[Cell]] = [
        ["Time", "U (mV)"], *([45_585.25 + i / 8640, mv] for i, mv in enumerate(truth.millivolts))
    ]  # fmt: skip
    yield Trap(
        "a workbook with dates", workbook({"Data": days}, dated=0),
        [Channel("U", "dc_voltage", [i * 10.0 for i in range(ROWS)], truth.volts)], suffix=".xlsx", tolerance_s=1.1e-3,
    )  # fmt: skip
    start = 1_714_564_800_000
    table = pa.table(
        {
            "time": pa.array([start + ms for ms in truth.milliseconds], pa.timestamp("ms", "UTC")),
            "U [mV]": pa.array(truth.millivolts, pa.int32()),
            "noise": pa.array([[1, 2]] * ROWS, pa.list_(pa.int8())),
        }
    )
    parquet, arrow = io.BytesIO(), io.BytesIO()
    pq.write_table(table, parquet)
    with pa.ipc.new_file(arrow, table.schema) as file:
        file.write_table(table)
    yield Trap("Parquet of another schema", parquet.getvalue(), plain, suffix=".parquet")
    yield Trap("Arrow", arrow.getvalue(), plain, suffix=".arrow")
