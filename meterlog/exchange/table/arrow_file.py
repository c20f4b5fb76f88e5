"""A Parquet or Arrow file of any schema as lines of a table, its cells separated by tabs."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq

from meterlog.errors import TableError

MOST_BYTES = 128 * 2**20
"""Of a group of rows, unpacked, that is held at once; larger ones may be bombs."""
_ROWS = 20_480


def arrow_lines(path: Path) -> Iterator[str]:
    """The names of the columns, then a line for each row.

    Raises:
        TableError: the file is damaged, or unpacks to more than is held at once.
    """
    try:
        with path.open("rb") as file:
            batches = _parquet(path) if file.read(4) == b"PAR1" else _arrow(path)
        first = True
        for batch in batches:
            if first:
                yield "\t".join(map(_plain, batch.schema.names)) + "\n"
                first = False
            columns = [_texts(column) for column in batch.columns]
            for cells in zip(*columns, strict=True):
                yield "\t".join(cells) + "\n"
    except (pa.ArrowException, OSError, ValueError) as error:
        raise TableError(f"'{path.name}' is damaged ({str(error).splitlines()[0]:.200})") from None


def arrow_kind(path: Path) -> str:
    """Return what a file is, for a person, with the columns that are passed over because they are nested."""
    try:
        with path.open("rb") as file:
            is_parquet = file.read(4) == b"PAR1"
        schema = pq.read_schema(path) if is_parquet else pa.ipc.open_file(path).schema
    except (pa.ArrowException, OSError, ValueError):
        return "Arrow"  # what is wrong is said where its rows are read
    nested = ", ".join(f"'{field.name}'" for field in schema if _has_no_cells(field.type))
    kind = "Parquet" if is_parquet else "Arrow"
    return f"{kind}, nested columns passed over: {nested}" if nested else kind


def _has_no_cells(kind: pa.DataType) -> bool:
    return bool(pa.types.is_nested(kind) or pa.types.is_binary(kind))


def _parquet(path: Path) -> Iterator[pa.RecordBatch]:
    with pq.ParquetFile(path) as file:
        groups = [file.metadata.row_group(k).total_byte_size for k in range(file.metadata.num_row_groups)]
        _check(path, max(groups, default=0))
        yield from file.iter_batches(batch_size=_ROWS)


def _arrow(path: Path) -> Iterator[pa.RecordBatch]:
    with pa.memory_map(str(path)) as mapped, pa.ipc.open_file(mapped) as file:
        for k in range(file.num_record_batches):
            batch = file.get_batch(k)
            _check(path, batch.nbytes)
            for start in range(0, batch.num_rows, _ROWS):
                yield batch.slice(start, _ROWS)


def _check(path: Path, size: int) -> None:
    if size > MOST_BYTES:
        raise TableError(
            f"'{path.name}' unpacks to {size / 1e6:.0f} MB at once, more than the {MOST_BYTES / 1e6:.0f} MB that are"
            " held: write it with smaller groups of rows"
        )


def _texts(column: pa.Array) -> list[str]:
    """The cells of a column as a table of text would have them; nested ones have none."""
    if _has_no_cells(column.type):
        return [""] * len(column)
    if pa.types.is_duration(column.type):
        micros = pc.cast(pc.cast(column, pa.duration("us"), safe=False), pa.int64())
        return ["" if cell is None else f"{cell / 1e6:.6f}" for cell in micros.to_pylist()]
    texts: list[str] = pc.fill_null(pc.cast(column, pa.string()), "").to_pylist()
    if pa.types.is_string(column.type) or pa.types.is_large_string(column.type) or pa.types.is_dictionary(column.type):
        return list(map(_plain, texts))
    return texts


def _plain(text: str) -> str:
    return text.replace("\t", " ").replace("\r", " ").replace("\n", " ").replace('"', "'")
