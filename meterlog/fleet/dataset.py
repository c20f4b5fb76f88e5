"""A dataset on the disk: which sessions it holds, and a new state of it that takes the old one's place at once."""

from __future__ import annotations

import errno
import os
import re
import secrets
import shutil
from collections.abc import Iterator, Mapping
from collections.abc import Set as AbstractSet
from contextlib import contextmanager
from pathlib import Path
from typing import NamedTuple

import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq
from filelock import FileLock, Timeout

from meterlog.errors import DatasetError
from meterlog.fleet.tables import MONTH, TABLES, check_version

_OWN = re.compile(rf"(?:{'|'.join(TABLES)})(?:/{MONTH}=\d{{4}}-\d\d(?:/[0-9a-f]{{8}}\.parquet)?)?")
"""The files and folders of a dataset, by their paths in it."""


class Known(NamedTuple):
    """A session that a dataset holds.

    Attributes:
        fingerprint: of the file as it was read.
        month: where its rows are.
    """

    fingerprint: str
    month: str


@contextmanager
def collecting(path: Path) -> Iterator[None]:
    """Inside, no other program collects into a dataset; what a killed one left half done is cleared before.

    Raises:
        DatasetError: another program collects into it, it is something else, or it cannot be written.
    """
    lock = FileLock(path.with_name(f".{path.name}.lock"))
    try:
        lock.acquire(timeout=0.0)
    except Timeout:
        raise DatasetError(f"another program collects into '{path}': try again when it is done") from None
    except OSError as error:
        raise DatasetError(f"'{path}' cannot be written: {error.strerror or error}") from error
    try:
        _recover(path)
        _check(path)
        yield
    except pa.ArrowException as error:
        raise DatasetError(f"'{path}' is damaged ({error}): collect into a new one") from error
    except OSError as error:
        why = os.strerror(error.errno) if error.errno else str(error)  # pyarrow's own words name the passing file
        raise DatasetError(f"'{path}' cannot be written: {why}; it is as it was") from error
    finally:
        lock.release()


def known(path: Path) -> dict[str, Known]:
    """Return the sessions that a dataset holds, those with a problem too; none where there is no dataset yet."""
    sessions = {}
    for table in ("sessions", "problems"):
        for month, file in _files(path, table).items():
            with pq.ParquetFile(file) as opened:
                check_version(opened.schema_arrow, str(path))
                columns = opened.read(["session", "fingerprint"]).to_pydict()
            for session, fingerprint in zip(columns["session"], columns["fingerprint"], strict=True):
                sessions[session] = Known(fingerprint, month)
    return sessions


def publish(path: Path, new: Mapping[str, pa.Table], gone: Mapping[str, Known]) -> None:
    """Take rows out of a dataset and put others in, all at once.

    The new state is made beside it, of links to the files that stay, and takes its name when it is complete.

    Args:
        path: the dataset, which need not exist.
        new: the rows of each table, with their month.
        gone: the sessions whose rows are no longer true.

    Raises:
        OSError: it cannot be written; it is then as it was.
    """
    beside, before = _beside(path), _before(path)
    try:
        _make(path, beside, new, gone)
        if path.exists():
            path.rename(before)
        beside.rename(path)
    except BaseException:
        _recover(path)
        raise
    shutil.rmtree(before, ignore_errors=True)


def _make(path: Path, beside: Path, new: Mapping[str, pa.Table], gone: Mapping[str, Known]) -> None:
    put_in = {month for table in new.values() for month in table[MONTH].unique().to_pylist()}
    touched = put_in | {one.month for one in gone.values()}
    name = f"{secrets.token_hex(4)}.parquet"  # a new name: a reader of the old state meets no file of the new one
    for table in TABLES:
        old = _files(path, table)
        for month in sorted(old.keys() | touched):
            folder = beside / table / f"{MONTH}={month}"
            folder.mkdir(parents=True)
            if month in touched:
                _write(folder / name, _merged(old.get(month), new[table], month, gone.keys()), table)
            else:
                _link(old[month], folder / old[month].name)


def _merged(old: Path | None, new: pa.Table, month: str, gone: AbstractSet[str]) -> pa.Table:
    """The rows of a month that stay, and those that come."""
    coming = new.filter(pc.equal(new[MONTH], month)).drop_columns(MONTH)
    if old is None:
        return coming
    staying = pq.ParquetFile(old).read()
    away = pc.is_in(staying["session"], value_set=pa.array(sorted(gone), pa.string()))
    return pa.concat_tables([staying.filter(pc.invert(away)), coming])


def _write(path: Path, rows: pa.Table, table: str) -> None:
    rows = rows.cast(TABLES[table]).replace_schema_metadata(TABLES[table].metadata)
    order = [(key, "ascending") for key in ("session", "number", "channel") if key in rows.column_names]
    pq.write_table(rows.sort_by(order), path, compression="zstd")
    with path.open("r+b") as file:
        os.fsync(file.fileno())  # else a power cut may leave the name with nothing behind it


def _link(old: Path, new: Path) -> None:
    try:
        os.link(old, new)
    except OSError as error:  # some disks have no links
        if error.errno == errno.ENOSPC:
            raise
        shutil.copy2(old, new)


def _files(path: Path, table: str) -> dict[str, Path]:
    """Each month's file of a table."""
    files = (path / table).glob(f"{MONTH}=*/*.parquet")
    return {file.parent.name.removeprefix(f"{MONTH}="): file for file in files}


def _beside(path: Path) -> Path:
    return path.with_name(f".{path.name}.part")


def _before(path: Path) -> Path:
    return path.with_name(f".{path.name}.before")


def _recover(path: Path) -> None:
    """Bring back the state before what was cut short."""
    if _before(path).exists() and not path.exists():
        _before(path).rename(path)
    for left in (_before(path), _beside(path)):
        if left.exists():
            shutil.rmtree(left)


def _check(path: Path) -> None:
    """Refuse what is no dataset, or holds what would be lost.

    Raises:
        DatasetError: it is.
    """
    if not path.exists():
        return
    if not path.is_dir():
        raise DatasetError(f"'{path}' is a file, no dataset: give another name")
    for entry in sorted(path.rglob("*")):
        if not _OWN.fullmatch(entry.relative_to(path).as_posix()):
            raise DatasetError(f"'{path}' holds '{entry.name}', which is no part of a dataset: give another name")
