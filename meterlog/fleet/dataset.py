"""A dataset on the disk: which sessions it holds, and a new state of it that takes the old one's place at once."""

from __future__ import annotations

import errno
import os
import secrets
import shutil
from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import chain
from pathlib import Path

import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq

from meterlog.errors import DatasetError
from meterlog.fleet.manifest import FOLDER, Changed, Known, write_held
from meterlog.fleet.place import beside, put_in_place, recover
from meterlog.fleet.tables import PARTED_BY, PARTITION, TABLES, UNKNOWN, check_version, key_of

_BATCH_ROWS = 500_000
"""So many rows of a file are in memory at once while others are put to them: of the widest table 150 MB. A choice."""

_LIST = ("sessions", "jobs", "problems")
"""The tables that hold a fingerprint."""


def held_by_tables(path: Path) -> dict[str, Known]:
    """Return what a dataset holds by its tables: those with a problem too; none where there is no dataset yet.

    Raises:
        DatasetError: it is damaged, or of another version.
    """
    held = {}
    for table in _LIST:
        key = key_of(table)
        for partition, file in ((where, file) for where, files in _files(path, table).items() for file in files):
            try:
                with pq.ParquetFile(file) as opened:
                    check_version(opened.schema_arrow, str(path))
                    columns = opened.read([key, "fingerprint"]).to_pydict()
            except pa.ArrowException as error:
                raise DatasetError(f"'{path}' is damaged ({error}): collect into a new one") from error
            for name, fingerprint in zip(columns[key], columns["fingerprint"], strict=True):
                held[name] = Known(fingerprint, partition)
    return held


def publish(path: Path, new: Mapping[str, pa.Table], held: dict[str, Known], gone: Iterable[str]) -> None:
    """Take rows out of a dataset and put others in, all at once.

    The new state is made beside it, of links to the files that stay, and takes its name when it is complete.

    Args:
        path: the dataset, which need not exist.
        new: the rows of each table that come, each with its partition.
        held: what it holds now; afterwards what it holds then.
        gone: names of what it holds whose rows are no longer true.

    Raises:
        OSError: it cannot be written; it is then as it was.
        DatasetError: one of its files is damaged.
    """
    away = {name: held[name] for name in gone if name in held}
    coming = _listed(new)
    changed: Changed = {**dict.fromkeys(away), **coming}
    try:
        for table in TABLES:
            _make(path, beside(path), table, new[table], away)
        for part in write_held(beside(path), path, held, changed):
            _link(path / FOLDER / part, beside(path) / FOLDER / part)
        put_in_place(path, beside(path))
    except BaseException as error:
        recover(path)
        if isinstance(error, pa.ArrowException) and not isinstance(error, OSError):
            raise DatasetError(f"'{path}' is damaged ({error}): collect into a new one") from error
        raise
    for name in away:
        del held[name]
    held.update(coming)


def _listed(new: Mapping[str, pa.Table]) -> dict[str, Known]:
    """Return what new rows make a dataset hold."""
    listed = {}
    for table in _LIST:
        names, fingerprints, partitions = (
            new[table][column].to_pylist() for column in (key_of(table), "fingerprint", PARTITION)
        )
        for name, *known in zip(names, fingerprints, partitions, strict=True):
            listed[name] = Known(*known)
    return listed


def _make(path: Path, made: Path, table: str, new: pa.Table, away: Mapping[str, Known]) -> None:
    """Make the files of one table; one without any row has one empty file, so that it can be asked."""
    name = f"{secrets.token_hex(4)}.parquet"  # a new name: a reader of the old state meets no file of the new one
    gaining, losing = set(new[PARTITION].unique().to_pylist()), {one.partition for one in away.values()}
    old = _files(path, table)
    for partition in sorted(gaining | losing | old.keys()):
        files = old.get(partition, [])
        coming = new.filter(pc.equal(new[PARTITION], partition)) if partition in gaining else new.slice(0, 0)
        again = files if partition in losing else _small(files, len(coming))
        for file in (file for file in files if file not in again):
            _link(file, _folder(made, table, partition) / file.name)
        batches = _batched(_merged(again, coming.drop_columns(PARTITION), table, away))
        first = next(batches, None)
        if first is not None:
            _write(_folder(made, table, partition) / name, chain((first,), batches), table)
    if not any((made / table).rglob("*.parquet")):
        empty = min(gaining | losing | old.keys(), default=f"{PARTED_BY[0]}=1970-01/{PARTED_BY[1]}={UNKNOWN}")
        _write(_folder(made, table, empty) / name, (TABLES[table].empty_table(),), table)


def _folder(made: Path, table: str, partition: str) -> Path:
    folder = made / table / partition
    folder.mkdir(parents=True, exist_ok=True)
    return folder


def _small(files: Sequence[Path], rows: int) -> list[Path]:
    """The files that are written anew with so many rows that come: those that hold no more, and so on with their sum.

    So a row is written again only when its file doubles, and a partition has few files.
    """
    small: list[Path] = []
    for held, file in sorted((pq.read_metadata(file).num_rows, file) for file in files) if rows else []:
        if held > rows:
            break
        small.append(file)
        rows += held
    return small


def _merged(old: Sequence[Path], coming: pa.Table, table: str, away: Mapping[str, Known]) -> Iterator[pa.Table]:
    """The rows of files that stay, and those that come, some at a time."""
    names = pa.array(sorted(away), pa.string()) if away else None
    for file in old:
        with pq.ParquetFile(file) as opened:
            for batch in opened.iter_batches(_BATCH_ROWS):
                rows = pa.Table.from_batches([batch])
                stay = rows if names is None else rows.filter(pc.invert(pc.is_in(rows[key_of(table)], value_set=names)))
                yield stay
    yield coming


def _batched(parts: Iterable[pa.Table]) -> Iterator[pa.Table]:
    """The same rows in fewer tables, without those that are empty."""
    gathered: list[pa.Table] = []
    for part in parts:
        gathered += [part] if len(part) else []
        if sum(map(len, gathered)) >= _BATCH_ROWS:
            yield pa.concat_tables(gathered)
            gathered = []
    if gathered:
        yield pa.concat_tables(gathered)


def _write(path: Path, parts: Iterable[pa.Table], table: str) -> None:
    with pq.ParquetWriter(path, TABLES[table], compression="zstd") as writer:
        for rows in parts:
            writer.write_table(rows.cast(TABLES[table]))
    with path.open("r+b") as file:
        os.fsync(file.fileno())  # else a power cut may leave the name with nothing behind it


def _link(old: Path, new: Path) -> None:
    try:
        os.link(old, new)
    except OSError as error:  # some disks have no links
        if error.errno == errno.ENOSPC:
            raise
        shutil.copy2(old, new)


def _files(path: Path, table: str) -> dict[str, list[Path]]:
    """Each partition's files of a table."""
    files: dict[str, list[Path]] = {}
    for file in sorted((path / table).rglob("*.parquet")):
        files.setdefault(file.parent.relative_to(path / table).as_posix(), []).append(file)
    return files
