"""Which sessions an export is of, and under which names they go into a folder."""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from pathlib import Path

from meterlog.errors import UsageError
from meterlog.session.files import session_files


def tables_in_folder(sources: Sequence[Path], out: Path, suffix: str) -> dict[Path, Path]:
    """The table that each session becomes: its name, in the folders that it has below the folder given.

    Args:
        sources: sessions, and folders with sessions in them and in their folders.
        out: the folder of the tables.
        suffix: of their names.

    Raises:
        UsageError: a folder holds no session, or two sessions would become the same table.
    """
    session_of: dict[Path, Path] = {}
    for source in sources:
        found = dict(_below(source, out)) if source.is_dir() else {source: Path(source.name)}
        if not found:
            raise UsageError(f"there is no session in '{source}' or in the folders in it")
        for session, name in found.items():
            table = out / name.with_suffix(suffix)
            if (twin := session_of.setdefault(table, session)) != session:
                raise UsageError(f"'{twin}' and '{session}' would both become '{table}': export them one by one")
    return {session: table for table, session in session_of.items()}


def _below(folder: Path, out: Path) -> Iterator[tuple[Path, Path]]:
    """The sessions below a folder and their names from there; hidden folders and the tables' own are passed over."""
    for place, inner, _ in os.walk(folder):
        here = Path(place)
        seen = (name for name in inner if not name.startswith("."))
        inner[:] = sorted(name for name in seen if (here / name).resolve() != out.resolve())
        for session in sorted(session_files(here)):
            yield session, session.relative_to(folder)
