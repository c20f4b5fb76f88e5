"""Tells which sessions would be archived, archives them, and brings one back."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from datetime import UTC, datetime
from pathlib import Path

from meterlog.archive import FOLDER, Left, Old, bring_back, find_old, put_away
from meterlog.errors import SessionBusy, SessionWriteFailed, UsageError
from meterlog.session.summary import Summary
from meterlog.text.figures import count, size
from meterlog.text.safe import one_line


def archive(folder: Path, sessions: Iterable[Summary], days: int, *, do: bool) -> int:
    """Say what is older than a number of days; archive it too where `do`.

    Raises:
        UsageError: less than a day.
        SessionWriteFailed: the folder or the archive cannot be used.
    """
    if days < 1:
        raise UsageError(f"--archive must be a whole number of days, 1 or more, not {days}")
    try:
        old, left = find_old(folder, sessions, days, datetime.now(UTC))
    except OSError as error:
        raise SessionWriteFailed(f"'{folder}' cannot be looked through: {error.strerror}", str(folder)) from error
    _print_plan(folder, old, days)
    _print_left(left)
    if old and not do:
        print("nothing was changed: add --yes to do it")
    elif old:
        _put_away_all(old)
    return 0


def restore(folder: Path, name: str) -> int:
    """Bring a session back."""
    print(f"{one_line(str(bring_back(folder, name)))} is back")
    return 0


def _print_plan(folder: Path, old: Sequence[Old], days: int) -> None:
    if not old:
        print(f"nothing to archive in '{one_line(str(folder))}' is older than {days} days")
        return
    months: defaultdict[str, list[Old]] = defaultdict(list)
    for one in old:
        months[one.month].append(one)
    print(f"older than {days} days, for '{one_line(str(folder / FOLDER))}': {_amount(old)}")
    for month, of_it in sorted(months.items()):
        print(f"  {month}  {_amount(of_it)}")


def _print_left(left: Iterable[Left]) -> None:
    for one in left:
        print(f"stays: {one_line(one.path.name)} {one_line(one.why)}")


def _put_away_all(old: Sequence[Old]) -> None:
    done: list[Old] = []
    packed = 0
    for one in old:
        try:
            packed += put_away(one)
        except SessionBusy as error:
            _print_left([Left(one.path, f"is in use: {error}")])
        else:
            done.append(one)
    print(f"archived: {_amount(done)}, which take {size(packed)} there")


def _amount(old: Sequence[Old]) -> str:
    raw = sum(len(one.raw) for one in old)
    with_raw = f" with {count(raw, 'raw capture')}" if raw else ""
    return f"{count(len(old), 'session')}{with_raw}, {size(sum(one.size for one in old))}"
