"""Plans for several files that become one session: each takes those of the options that are about its columns."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from meterlog.errors import TableError, UsageError
from meterlog.exchange.table.import_plan import ImportPlan, make_plan
from meterlog.exchange.table.layout import as_delimiter, find_layout, head_of
from meterlog.exchange.table.options import ImportOptions, nth
from meterlog.exchange.table.source import open_source


def make_plans(paths: Sequence[Path], options: ImportOptions) -> list[ImportPlan]:
    """The plan of each file.

    Raises:
        TableError: as `make_plan`; or no file has a column that was named.
        UsageError: nothing says how the files are joined.
    """
    if options.join == "pairs":
        return [make_plan(path, one) for path in paths for one in _pairs(options)]
    if len(paths) == 1:
        return [make_plan(paths[0], options)]
    if options.join is None:
        raise UsageError(
            "say how the files go together: --join time (recorded at the same time) or --join end (one after another)"
        )
    options.check()
    if options.join == "end" and options.restarts == "stop":
        options = dataclasses.replace(options, restarts="offset")
    if options.join == "end":
        return [make_plan(path, options) for path in paths]
    own = [_own_options(path, options) for path in paths]
    for name in options.value:
        if not any(name in one.value for one in own):
            raise TableError(f"no column of {' or '.join(repr(path.name) for path in paths)} is called '{name}'")
    return [make_plan(path, one) for path, one in zip(paths, own, strict=True)]


def _pairs(options: ImportOptions) -> list[ImportOptions]:
    """The options for each column of values with the times of its own; markers and states go with the first."""
    if len(options.time) != len(options.value):
        raise UsageError(
            f"with --join pairs, each --value has a --time: there are {len(options.time)} --time for"
            f" {len(options.value)} --value"
        )
    options.check()
    found = []
    for i, (time, value) in enumerate(zip(options.time, options.value, strict=True)):
        own: dict[str, Any] = {name: _own(getattr(options, name), i) for name in ("quantity", "unit", "label", "point")}
        beside: dict[str, Any] = {} if i == 0 else {"state": (), "marker": None}
        found.append(dataclasses.replace(options, time=(time,), value=(value,), join="time", **own, **beside))
    return found


def _own(given: tuple[str, ...], i: int) -> tuple[str, ...]:
    one = nth(given, i)
    return () if one is None else (one,)


def _own_options(path: Path, options: ImportOptions) -> ImportOptions:
    """The options as far as they are about columns that the file has."""
    source = open_source(path, options)
    delimiter = source.delimiter or (as_delimiter(options.delimiter) if options.delimiter else None)
    head = head_of(source.lines())

    def has(name: str) -> bool:
        try:
            find_layout(head, [name], delimiter, path.name)
        except TableError:
            return False
        return True

    columns = [i for i, name in enumerate(options.value) if has(name)]
    if not columns:
        raise TableError(f"'{path.name}' has none of the columns given with --value")
    changes: dict[str, Any] = {
        name: tuple(given[i] for i in columns) if len(given := getattr(options, name)) > 1 else given
        for name in ("value", "quantity", "unit", "label", "point")
    }
    if len(options.label) == 1 < len(options.value):
        changes["label"] = ()
    changes["time"] = tuple(name for name in options.time if has(name))
    changes["state"] = tuple(name for name in options.state if has(name))
    changes["marker"] = options.marker if options.marker is not None and has(options.marker) else None
    return dataclasses.replace(options, **changes)
