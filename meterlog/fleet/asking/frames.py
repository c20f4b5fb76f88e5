"""A dataset as pandas frames: see `meterlog.dataset`."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.dataset as arrow
from pyarrow.parquet import ParquetFile

from meterlog.errors import DatasetError
from meterlog.fleet.asking.where import CIRCUIT, Where, check_keys, facts_of, fits, where_of
from meterlog.fleet.manifest import is_dataset
from meterlog.fleet.tables import PARTED_BY, TABLES, check_version, key_of

if TYPE_CHECKING:
    import pandas as pd

_TRIES = 3
"""A collector that puts a new state in place takes the files away that a reader has listed: it lists them again."""


class Dataset:
    """The tables of a dataset, read when they are asked for: `dataset["measures"]`."""

    def __init__(self, path: Path | str, where: Where = ()) -> None:
        """Open it.

        Args:
            path: its folder, as `meterlog collect` made it.
            where: only sessions of which this is so: see `where_of`.

        Raises:
            DatasetError: it is none, or nothing is known of a key of `where`; that it cannot be read shows with the
                first table.
        """
        self.path, self.wanted = Path(path), where
        if not is_dataset(self.path):
            raise DatasetError(f"'{path}' is no dataset: make one with 'meterlog collect FOLDER --out DATASET'")
        if self.wanted:
            check_keys({CIRCUIT, *(key for facts in self._facts.values() for key in facts)}, self.wanted)

    def __repr__(self) -> str:
        asked = "".join(f", {one}" for one in self.wanted)
        return f"<dataset {self.path.name}: {len(self._chosen)} sessions{asked}>"

    def where(self, *conditions: str, **wanted: object) -> Dataset:
        """Return the same with fewer sessions: `dataset.where("temperature_c<5", vehicle="van 7")`.

        Raises:
            DatasetError: nothing is known of a key.
            UsageError: a condition is none, or one value is asked of a key that is to have another.
        """
        return self.narrowed(where_of(conditions, wanted))

    def narrowed(self, where: Where) -> Dataset:
        """Return the same with fewer sessions.

        Raises:
            DatasetError: nothing is known of a key.
        """
        return Dataset(self.path, (*self.wanted, *where)) if where else self

    def __getitem__(self, table: str) -> pd.DataFrame:
        """Return a table, with the columns of the manual; jobs and problems are all there, whatever is wanted.

        Raises:
            DatasetError: there is none of this name, or it cannot be read.
        """
        if table not in TABLES:
            raise DatasetError(f"there is no table '{table}': there are {', '.join(TABLES)}")
        only = self._chosen if self.wanted and table not in ("jobs", "problems") else None
        return _read(self.path, table, only)

    @cached_property
    def _facts(self) -> dict[str, Mapping[str, str]]:
        sessions = _read(self.path, "sessions", None)
        rows = [{str(key): value for key, value in row.items()} for row in sessions.to_dict("records")]
        return {str(row["session"]): facts_of(row) for row in rows}

    @cached_property
    def _chosen(self) -> list[str]:
        """The sessions that are wanted."""
        wanted = tuple(one for one in self.wanted if one.key != CIRCUIT)
        chosen = [session for session, facts in self._facts.items() if fits(facts, wanted)]
        for circuit in {one.value for one in self.wanted if one.key == CIRCUIT}:
            jobs = _read(self.path, "jobs", None)
            on_it = {session for some in jobs[jobs.circuit == circuit].sessions for session in some}
            chosen = [session for session in chosen if session in on_it]
        return chosen


def _read(path: Path, table: str, only: list[str] | None) -> pd.DataFrame:
    for tries_left in reversed(range(_TRIES)):
        try:
            return _once(path, table, only)
        except FileNotFoundError:
            if not tries_left:
                raise DatasetError(f"'{path}' changes while it is read: try again") from None
        except pa.ArrowException as error:
            raise DatasetError(f"'{path}' is damaged ({error}): collect into a new one") from error
    raise AssertionError("the last try returns or raises")


def _once(path: Path, table: str, only: list[str] | None) -> pd.DataFrame:
    files = sorted((path / table).rglob("*.parquet"))
    if files:
        with ParquetFile(files[0]) as first:
            check_version(first.schema_arrow, str(path))
    parts = arrow.partitioning(pa.schema([(name, pa.string()) for name in PARTED_BY]), flavor="hive")
    found = arrow.dataset(files, schema=_with_parts(table), partitioning=parts, partition_base_dir=str(path / table))
    wanted = None if only is None else pc.field(key_of(table)).isin(pa.array(only, pa.string()))
    frame: pd.DataFrame = found.to_table(filter=wanted).to_pandas()
    return frame


def _with_parts(table: str) -> pa.Schema:
    schema = TABLES[table]
    for name in PARTED_BY:
        schema = schema.append(pa.field(name, pa.string()))
    return schema
