"""Sessions as Parquet files and back: one row a reading, everything else in the schema's metadata."""

from __future__ import annotations

import io
import json
from collections.abc import Callable, Iterable, Iterator, Mapping
from itertools import islice
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from meterlog.errors import MeterlogError, TableError
from meterlog.exchange.finished_file import finished_file
from meterlog.exchange.new_session import NewSession
from meterlog.exchange.parts import taken
from meterlog.exchange.session_table import InOrder, SessionFacts
from meterlog.series import Series
from meterlog.session.model import Marker
from meterlog.session.reader import SessionReader

_FACTS, _MARKERS = b"meterlog.session", b"meterlog.markers"
_GROUP_CHUNKS = 64  # a row group of 262,144 readings: some megabytes in memory
_COLUMNS = ("time_s", "channel", "value", "resolution", "flags")


def export_parquet(
    reader: SessionReader, out: Path, *, replace: bool = False, told: Callable[[int], None] = lambda _: None
) -> int:
    """Write all readings, channel by channel, in bounded memory.

    Columns: `time_s` (s from the start), `channel`, `value` (in the channel's unit), `resolution`, `flags` (bits).
    The metadata key `meterlog.session` holds the started_at, details, channels with their units and link changes as
    JSON, `meterlog.markers` the markers. `told` is told the number of readings written so far.

    Returns:
        The number of readings.

    Raises:
        EmptySession: there is no reading.
        SessionWriteFailed: the file exists or cannot be written.
    """
    parts, readings = parquet_parts(reader), 0
    with finished_file(out, replace=replace) as passing, passing.open("wb") as file:
        for data, readings in parts:
            file.write(data)
            told(readings)
    return readings


def parquet_parts(reader: SessionReader) -> Iterator[tuple[bytes, int]]:
    """The file in parts, each made when it is asked for, with the number of readings up to its end.

    Its end holds what makes it readable (Apache Parquet format, 'File format'), so one that broke off is known for it.

    Raises:
        EmptySession: there is no reading.
    """
    reader.need_readings()
    return _parts(reader)


def _parts(reader: SessionReader) -> Iterator[tuple[bytes, int]]:
    facts, part, readings = SessionFacts.of(reader), io.BytesIO(), 0
    schema = _schema(facts, reader.markers)
    with pq.ParquetWriter(part, schema, compression="zstd") as file:
        for channel in facts.channels:
            for series in _groups(reader.blocks(channel.number)):
                number = np.full(len(series), channel.number, np.int32)
                columns = (series.time_s, number, series.value, series.resolution, series.flags)
                file.write_table(pa.table(dict(zip(_COLUMNS, columns, strict=True)), schema=schema))
                readings += len(series)
                yield taken(part), readings
    yield taken(part), readings


def _schema(facts: SessionFacts, markers: Iterable[Marker]) -> pa.Schema:
    units = json.dumps({channel.number: channel.quantity.unit for channel in facts.channels}).encode()
    told = json.dumps([[m.time_s, m.name, m.note, m.by] for m in markers])
    return pa.schema(
        [
            pa.field("time_s", pa.float64(), nullable=False, metadata={b"unit": b"s"}),
            pa.field("channel", pa.int32(), nullable=False),
            pa.field("value", pa.float64(), nullable=False, metadata={b"unit by channel": units}),
            pa.field("resolution", pa.float32(), nullable=False, metadata={b"unit by channel": units}),
            pa.field("flags", pa.uint16(), nullable=False),
        ],
        metadata={_FACTS: facts.as_json().encode(), _MARKERS: told.encode()},
    )


def _groups(blocks: Iterable[Series]) -> Iterator[Series]:
    blocks = iter(blocks)
    while some := list(islice(blocks, _GROUP_CHUNKS)):
        yield Series(
            np.concatenate([block.time_s for block in some]),
            np.concatenate([block.value for block in some]),
            np.concatenate([block.resolution for block in some]),
            np.concatenate([block.flags for block in some]),
            np.concatenate([block.time_error_s for block in some]),
        )


def is_session_parquet(path: Path) -> bool:
    """Tell whether a file is Parquet that `export_parquet` wrote."""
    try:
        return _FACTS in (pq.read_schema(path).metadata or {})
    except (pa.ArrowException, OSError):
        return False


def import_parquet(path: Path, out: Path, details: Mapping[str, str]) -> tuple[dict[str, int], int]:
    """Make the session again of which `export_parquet` made a file.

    Returns:
        The readings of each channel by its label, and the number of markers.

    Raises:
        TableError: the file is something else, or damaged; nothing is left behind.
        SessionWriteFailed: `out` exists or cannot be written.
    """
    try:
        with pq.ParquetFile(path) as file:
            metadata = file.schema_arrow.metadata or {}
            if _FACTS not in metadata:
                raise TableError(f"'{path}' was not written by 'meterlog export': import it from a CSV file")
            facts = SessionFacts.from_json(metadata[_FACTS].decode())
            with NewSession(out) as new:
                writer = new.begin(facts.started_at, facts.details | dict(details))
                facts.begin_channels(writer)
                markers = json.loads(metadata[_MARKERS])
                for time_s, *words in markers:
                    name, note, by = map(str, words)
                    writer.add_marker(float(time_s), name, note, by)
                counts = {channel.label: 0 for channel in facts.channels}
                known = [channel.number for channel in facts.channels]
                in_order = InOrder()
                for batch in file.iter_batches(columns=list(_COLUMNS)):
                    time_s, number, value, resolution, flags = (column.to_numpy() for column in batch.columns)
                    if not np.isin(number, known).all():
                        raise TableError(f"'{path}' has readings of a channel that it does not describe")
                    for channel in facts.channels:
                        chosen = number == channel.number
                        part = Series(time_s[chosen], value[chosen], resolution[chosen], flags[chosen])
                        in_order.check(channel.number, part)
                        writer.append_series(channel.number, part)
                        counts[channel.label] += len(part)
                new.keep()
    except FileNotFoundError:
        raise TableError(f"there is no file '{path}'") from None
    except MeterlogError:
        raise
    except (pa.ArrowException, OSError, KeyError, ValueError, TypeError, OverflowError) as error:
        raise TableError(f"'{path}' is damaged or not a Parquet file ({error})") from error
    return counts, len(markers)
