"""Shows on the terminal what a table would become, what is in doubt, and the command that imports it."""

from __future__ import annotations

import shlex
from collections.abc import Iterator
from pathlib import Path

from meterlog.exchange.table.guess import Guess
from meterlog.exchange.table.preview import Preview, command_words
from meterlog.text.safe import one_line


def preview_lines(path: Path, seen: Preview, out: Path) -> Iterator[str]:
    """The lines to print."""
    if seen.plan is not None:
        yield one_line(seen.plan.described()[0])
    width = max(len(one_line(column.name)) for column in seen.columns)
    for column in seen.columns:
        yield f"  {column.place + 1:>3}  {one_line(column.name):{width}}  {one_line(_role(column, seen))}".rstrip()
    yield from _first_rows(seen)
    for sentence in seen.remarks:
        yield f"note: {one_line(sentence)}"
    if seen.doubts:
        yield "In doubt, and guessed in the command below:"
    for sentence in seen.doubts:
        yield f"  - {one_line(sentence)}"
    yield "To import it so:" if seen.doubts else "Nothing is in doubt. To import it (or with --yes):"
    yield "  " + one_line(shlex.join(command_words(path, seen, out)))


def _first_rows(seen: Preview) -> Iterator[str]:
    if seen.plan is None or seen.started_at is None:
        return
    yield f"time read as {seen.plan.time.description}; the session starts at {seen.started_at.isoformat()}"
    for row in seen.rows:
        values = zip(row.values, seen.plan.values, strict=True)
        shown = ", ".join(f"{value:g} {column.quantity.unit}" for value, column in values)
        yield f"  line {row.line}: {row.time_s:.6f} s  {shown}"
    kept, rows = seen.kept
    yield f"{kept} of {rows} rows would be kept"


def _role(column: Guess, seen: Preview) -> str:
    """Return what a column is taken for, or why it is left out."""
    if column.role == "value" and column.name in seen.options.value and seen.plan is not None:
        return "value   " + seen.plan.values[seen.options.value.index(column.name)].spelled
    if column.role in ("", "value"):
        return f"-       left out: {column.why or 'nothing says what it holds'}"
    return f"{column.role:7} {column.why}"
