"""List the sessions recorded in a folder, newest first.

Filter by details (--set vehicle=van), by a word anywhere (--with plug) or by quantity; a file that cannot be read gets
a row that says so. Files that killed programs left behind are named below the list; --clear removes them, but never
a file that holds a reading. --archive packs old sessions into the folder 'archive', --restore brings one back.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Callable, Collection, Mapping, Sequence
from functools import lru_cache
from pathlib import Path

from meterlog.archive import FOLDER as ARCHIVE
from meterlog.archive import archived
from meterlog.cli.terminal.archiving import archive, restore
from meterlog.errors import SessionWriteFailed, UsageError
from meterlog.reading import Quantity
from meterlog.session.folder_index import summaries, uncollected
from meterlog.session.leftovers import leftovers
from meterlog.session.summary import Summary, holding
from meterlog.text.safe import one_line

EXAMPLE = "meterlog sessions recordings --set vehicle=van --sort duration"

_SORTS: dict[str, Callable[[Summary], float | str]] = {
    "started": lambda s: -s.started_at.timestamp() if s.started_at else float("inf"),
    "duration": lambda s: -s.duration_s,
    "readings": lambda s: -s.readings,
    "markers": lambda s: -s.markers,
    "name": lambda s: s.name,
}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    add = parser.add_argument
    add("folder", metavar="FOLDER", type=Path, nargs="?", default=Path(), help="the folder; the current one by default")
    add("--set", metavar="KEY=TEXT", action="append", default=[], help="only sessions whose detail KEY is TEXT")
    add("--with", dest="word", metavar="TEXT", help="only sessions with TEXT in a label, a detail or the file's name")
    add(
        "--quantity",
        choices=[str(quantity) for quantity in Quantity],
        help="only sessions with a channel of this quantity",
    )
    add("--sort", default="started", metavar="KEY", help=f"{', '.join(_SORTS)}, or a detail's key")
    add("--limit", type=int, metavar="N", help="at most N rows")
    add("--clear", action="store_true", help="remove half-written and empty files that killed programs left")
    add("--archive", metavar="DAYS", type=int, help="say which sessions are older, and would be packed into archive/")
    add("--yes", action="store_true", help="with --archive: do it")
    add("--restore", metavar="NAME", help="bring an archived session back")
    add("--json", action="store_true", help="print JSON")


def run(args: argparse.Namespace) -> int:
    """List them."""
    if not args.folder.is_dir():
        raise UsageError(f"there is no folder '{args.folder}'")
    if args.limit is not None and args.limit < 1:
        raise UsageError(f"--limit must be a whole number, 1 or more, not {args.limit}")
    if args.yes and args.archive is None:
        raise UsageError("--yes goes with --archive DAYS")
    if sum((args.clear, args.archive is not None, args.restore is not None, args.json)) > 1:
        raise UsageError("--archive, --restore, --clear and --json do not go together: give one of them")
    if args.clear:
        return _clear(args.folder)
    if args.restore is not None:
        return restore(args.folder, args.restore)
    wanted = [_wanted(word) for word in args.set]
    every = summaries(args.folder)
    asked = holding(every, [args.word]) if args.word else every
    found = [summary for summary in asked if _fits(summary, args, wanted)]
    found.sort(key=lambda summary: summary.name)
    detail = args.sort

    def by_detail(summary: Summary) -> tuple[bool, str]:
        return detail not in summary.details, summary.details.get(detail, "").casefold()

    found.sort(key=_SORTS.get(args.sort, by_detail))
    found = found[: args.limit]
    if args.archive is not None:
        return archive(args.folder, found, args.archive, do=args.yes)
    if args.json:
        print(json.dumps([_as_json(summary) for summary in found], indent=1))
    elif found:
        with uncollected():
            _print(found)
    else:
        fit = " that fit" if wanted or args.word or args.quantity else ""
        print(f"no sessions{fit} in '{one_line(str(args.folder))}'")
        _point_below(args.folder)
    if not args.json:
        _tell_archived(args.folder)
        _tell_leftovers(args.folder, {summary.name for summary in every if not summary.damage})
    return 0


def _point_below(folder: Path) -> None:
    """Name the folders inside that hold sessions: a person may look one folder too high."""
    for inner in sorted(path for path in folder.iterdir() if path.is_dir() and not path.name.startswith(".")):
        if any(inner.glob("*.sqlite")):
            print(f"there are some in '{one_line(str(inner))}': meterlog sessions {one_line(str(inner))}")


def _tell_archived(folder: Path) -> None:
    if packed := archived(folder):
        months = dict.fromkeys((packed[0].parent.name, packed[-1].parent.name))
        print(
            f"archived: {len(packed)}, of {' to '.join(months)};"
            f" 'meterlog sessions {one_line(str(folder))} --restore NAME' brings one back"
        )


def _tell_leftovers(folder: Path, sound: Collection[str]) -> None:
    if left := _left(folder, sound):
        names = one_line(", ".join(path.name for path in left[:3]) + (f" and {len(left) - 3} more" if left[3:] else ""))
        command = f"meterlog sessions {one_line(str(folder))} --clear"
        print(f"killed programs left files of no use: {names}; '{command}' removes them")


def _left(folder: Path, sound: Collection[str] = ()) -> list[Path]:
    """Return what killed programs left in the folder, but for sound sessions, and in its archive."""
    months = sorted(path for path in folder.glob(f"{ARCHIVE}/*") if path.is_dir())
    return [*leftovers(folder, sound), *(path for month in months for path in leftovers(month))]


def _clear(folder: Path) -> int:
    for path in _left(folder):
        try:
            path.unlink(missing_ok=True)
        except OSError as error:
            raise SessionWriteFailed(f"'{path}' cannot be removed: {error.strerror}", str(path)) from error
        print(f"removed {one_line(str(path))}")
    print(f"no files of killed programs are left in '{one_line(str(folder))}'")
    return 0


def _wanted(word: str) -> tuple[str, str]:
    key, equals, text = word.partition("=")
    if not equals:
        raise UsageError(f"--set needs KEY=TEXT, not '{word}'")
    return key, text.casefold()


def _fits(summary: Summary, args: argparse.Namespace, wanted: list[tuple[str, str]]) -> bool:
    if summary.damage:
        return not (wanted or args.word or args.quantity)
    return all(text == summary.details.get(key, "").casefold() for key, text in wanted) and (
        not args.quantity or any(quantity == args.quantity for _, quantity in summary.channels)
    )


_ENDED = {"hard": "hard (crash)", "growing": "recording"}
_HEADINGS = ("started", "duration", "readings", "markers", "ended", "channels", "vehicle", "file")


def _print(found: Sequence[Summary]) -> None:
    rows = [None if summary.damage else _cells(summary) for summary in found]
    columns = zip(_HEADINGS, *(row for row in rows if row is not None), strict=True)
    *widths, _ = (max(map(len, column)) for column in columns)
    line = "".join(f"{{:<{width}}}  " for width in widths) + "{}\n"
    lines = [
        f"cannot be read: {one_line(summary.damage)}\n" if cells is None else line.format(*cells)
        for cells, summary in zip(rows, found, strict=True)
    ]
    sys.stdout.write("".join((line.format(*_HEADINGS), *lines)))


def _cells(summary: Summary) -> tuple[str, ...]:
    assert summary.started_at is not None
    cells = (
        summary.started_at.astimezone().isoformat(" ", "seconds")[:19],
        _duration(summary.duration_s),
        str(summary.readings),
        str(summary.markers),
        _ENDED.get(summary.ended, summary.ended),
        _channels(summary.channels),
        _case(summary.details),
        summary.name,
    )
    return tuple(map(one_line, cells))


@lru_cache(maxsize=1_000)
def _channels(channels: tuple[tuple[str, Quantity], ...]) -> str:
    """Name the channels of a session; most sessions of a folder have those of another."""
    words = ", ".join(f"{label} ({quantity.words})" for label, quantity in channels)
    return words if len(words) <= 60 else words[:57] + "..."


def _case(details: Mapping[str, str]) -> str:
    """The vehicle, and the job that the session was recorded for."""
    job = details.get("job", "")
    return ", ".join(filter(None, (details.get("vehicle", ""), job and f"job {job}")))


def _duration(seconds: float) -> str:
    if seconds < 120:
        return f"{seconds:.1f} s"
    minutes, rest = divmod(round(seconds), 60)
    return f"{minutes} min {rest:02d} s" if minutes < 120 else f"{minutes // 60} h {minutes % 60:02d} min"


def _as_json(summary: Summary) -> dict[str, object]:
    if summary.damage:
        return {"session": summary.file, "damage": summary.damage}
    assert summary.started_at is not None
    return {
        "session": summary.file,
        "started_at": summary.started_at.isoformat(),
        "duration_s": summary.duration_s,
        "readings": summary.readings,
        "markers": summary.markers,
        "ended": summary.ended,
        "channels": [{"label": label, "quantity": quantity} for label, quantity in summary.channels],
        "details": summary.details,
    }
