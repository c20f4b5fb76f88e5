"""Moves a session with its raw captures into the archive, packed, and back; killed at any moment, nothing is lost.

Every file gets its copy before the first original goes: written under a passing name, read back and compared, on the
disk, and only then under its own name. The session itself goes last. So whoever was cut short has the session still
where it was, and doing it again finds the copies that are complete, and ends the move.
"""

from __future__ import annotations

import glob
import gzip
import os
import re
import shutil
import zlib
from collections import defaultdict
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path, PurePath
from tempfile import TemporaryDirectory
from typing import IO, TypeVar, cast

from meterlog.archive.old import RAW, Old
from meterlog.errors import SessionBusy, SessionError, SessionWriteFailed, did_you_mean
from meterlog.exchange.finished_file import finished_file
from meterlog.session.lock import RecorderLock

FOLDER = "archive"
"""Where archived sessions are, in the folder they were in, by months `YYYY-MM`."""

PACKED = ".gz"
"""Ending of a packed file: gzip (RFC 1952), which every system can open without this program."""

_BLOCK_BYTES = 2**20
"""Read at once; a guess."""

_DAMAGE = (EOFError, gzip.BadGzipFile, zlib.error)
"""Says what a packed file raises that is cut short or changed."""

_MONTH = re.compile(r"\d{4}-\d\d")
_Path = TypeVar("_Path", bound=PurePath)
_Pairs = list[tuple[Path, Path]]
"""Files and where each goes; the session is the last."""


def put_away(old: Old) -> int:
    """Pack a session and its raw captures into the archive; the bytes they take there.

    Raises:
        SessionBusy: a program records it, moves it, or has changed it meanwhile; it stays.
        SessionWriteFailed: the archive cannot be written, or holds other files of these names; it stays.
    """
    month = old.path.parent / FOLDER / old.month
    pairs = [(path, month / (path.name + PACKED)) for path in (*old.raw, old.path)]
    with _told(old.path), _alone(old.path):
        month.mkdir(parents=True, exist_ok=True)
        _move(pairs, pack=True)
    return sum(target.stat().st_size for _, target in pairs)


def bring_back(folder: Path, name: str) -> Path:
    """Unpack an archived session and its raw captures into the folder they came from; the session's path.

    Args:
        folder: where the session was.
        name: the session's file name, with its month in front (`2025-03/crank.sqlite`) where two have it.

    Raises:
        SessionError: none is archived under the name, or several are; or its packed file is damaged.
        SessionBusy: another program moves it.
        SessionWriteFailed: the folder cannot be written, or holds other files of these names.
    """
    packed = _find(folder, name)
    path = folder / name_of(packed)
    pairs = [(one, folder / name_of(one)) for one in (*raw_of(packed), packed)]
    with _told(packed), _alone(path):
        _move(pairs, pack=False)
    return path


@contextmanager
def unpacked(packed: Path) -> Iterator[Path]:
    """Inside, a packed session lies, unpacked, in a folder that is removed afterwards.

    Raises:
        SessionError: its packed file is damaged.
        OSError: it cannot be read, or there is no room for it.
    """
    with TemporaryDirectory(prefix="meterlog-") as folder:
        path = Path(folder, name_of(packed))
        _fill_whole(packed, path, pack=False)
        yield path


def archived(folder: Path) -> list[Path]:
    """The packed sessions of a folder's archive, by month and name."""
    return sorted(path for path in folder.glob(f"{FOLDER}/*/*{PACKED}") if came_from(path) is not None)


def packed_of(path: Path) -> Path | None:
    """Return where a session that was at a path lies packed; None where it is still there, or in no archive."""
    if came_from(path) is not None:
        return path
    months = () if path.exists() else path.parent.glob(f"{FOLDER}/*/{glob.escape(path.name)}{PACKED}")
    found = [one for one in months if came_from(one) == path]
    return found[0] if len(found) == 1 else None


def came_from(path: _Path) -> _Path | None:
    """Return where a packed session was before; None where a file is none."""
    month = path.parent
    in_archive = month.parent.name == FOLDER and _MONTH.fullmatch(month.name)
    if not in_archive or not path.name.endswith(PACKED) or path.name.startswith(".") or _raw_stem(path):
        return None
    return month.parent.parent / name_of(path)


def name_of(packed: PurePath) -> str:
    """Return the name that a packed file had before."""
    return packed.name.removesuffix(PACKED)


def raw_of(packed: Path) -> list[Path]:
    """The packed raw captures of a packed session, beside it."""
    return raw_in(packed.parent).get(Path(name_of(packed)).stem, [])


def raw_in(month: Path) -> dict[str, list[Path]]:
    """The packed raw captures in a month's folder, by the name of their session without its suffix."""
    found: defaultdict[str, list[Path]] = defaultdict(list)
    for path in sorted(month.glob(f"*.raw{PACKED}")):
        if stem := _raw_stem(path):
            found[stem].append(path)
    return found


def _find(folder: Path, name: str) -> Path:
    names = {path: name_of(path) for path in archived(folder)}
    found = [path for path in names if name in (names[path], f"{path.parent.name}/{names[path]}")]
    if not found:
        hint = did_you_mean(name, names.values())
        raise SessionError(f"no session '{name}' is archived in '{folder / FOLDER}'{hint}", str(folder))
    if len(found) > 1:
        choice = " or ".join(f"'{path.parent.name}/{name}'" for path in found)
        raise SessionError(f"more than one '{name}' is archived: name {choice}", str(folder))
    return found[0]


def _raw_stem(packed: PurePath) -> str:
    """The session's name, without its suffix, that a packed raw capture is of; empty for a session."""
    match = RAW.fullmatch(name_of(packed))
    return match["stem"] if match else ""


def _move(pairs: _Pairs, *, pack: bool) -> None:
    stamps = [_stamp(source) for source, _ in pairs]
    made: list[Path] = []
    try:
        for source, target in pairs:
            if _copy(source, target, pack=pack):
                made.append(target)
        for (source, _), stamp in zip(pairs, stamps, strict=True):
            if _stamp(source) != stamp:
                raise SessionBusy(f"'{source}' has just been changed: it stays", str(source))
    except BaseException:
        for target in made:
            target.unlink()
        raise
    target = pairs[-1][1].parent
    _to_disk((target, target.parent, target.parent.parent) if pack else (target,))  # the archive's folders may be new
    for source, _ in pairs:
        source.unlink()


def _copy(source: Path, target: Path, *, pack: bool) -> bool:
    """Make the copy, or see that it is there already, from a move that was cut short; tell whether it was made."""
    if target.exists():
        if not _same(source, target, pack=pack):
            raise SessionWriteFailed(f"'{target}' exists already and is another: move one of the two", str(target))
        return False
    with finished_file(target, replace=False) as passing:
        _fill_whole(source, passing, pack=pack)
        if not _same(source, passing, pack=pack):
            raise SessionWriteFailed(f"'{source}' does not read back as it was: it stays", str(source))
    shutil.copystat(source, target)
    return True


def _fill_whole(source: Path, passing: Path, *, pack: bool) -> None:
    """Fill the copy.

    Raises:
        SessionError: the source is a packed file, and damaged.
    """
    try:
        _fill(source, passing, pack=pack)
    except _DAMAGE as error:
        raise SessionError(f"'{source}' is damaged and cannot be unpacked: {error}", str(source)) from error


def _fill(source: Path, passing: Path, *, pack: bool) -> None:
    with _opened(source, "rb", packed=not pack) as read, _opened(passing, "wb", packed=pack) as write:
        shutil.copyfileobj(read, write, _BLOCK_BYTES)
    with passing.open("r+b") as file:
        os.fsync(file.fileno())


def _same(source: Path, target: Path, *, pack: bool) -> bool:
    try:
        with _opened(source, "rb", packed=not pack) as one, _opened(target, "rb", packed=pack) as other:
            while block := one.read(_BLOCK_BYTES):
                if other.read(len(block)) != block:
                    return False
            return not other.read(1)
    except _DAMAGE:
        return False


def _opened(path: Path, mode: str, *, packed: bool) -> IO[bytes]:
    return cast("IO[bytes]", gzip.open(path, mode) if packed else path.open(mode))


def _stamp(path: Path) -> tuple[int, int, int]:
    found = path.stat()
    return found.st_size, found.st_mtime_ns, found.st_ino


def _to_disk(folders: Iterable[Path]) -> None:
    """See to it that new names are on the disk before old ones go; Windows does so by itself."""
    if os.name != "nt":
        for folder in folders:
            handle = os.open(folder, os.O_RDONLY)
            try:
                os.fsync(handle)
            finally:
                os.close(handle)


@contextmanager
def _alone(session: Path) -> Iterator[None]:
    """Inside, no other program records or moves the session."""
    lock = RecorderLock(session)
    try:
        yield
    finally:
        lock.release()


@contextmanager
def _told(path: Path) -> Iterator[None]:
    """Turn what the system says into an error of ours."""
    try:
        yield
    except SessionError:
        raise
    except OSError as error:
        raise SessionWriteFailed(f"'{path}' cannot be moved: {error.strerror or error}", str(path)) from error
