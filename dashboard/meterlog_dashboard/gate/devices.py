"""The devices that were paired with this computer: kept in the user's folder, so that a restart forgets none."""

from __future__ import annotations

import hashlib
import hmac
import json
import secrets
import threading
from collections.abc import Callable
from contextlib import suppress
from dataclasses import asdict, dataclass, replace
from datetime import UTC, datetime
from pathlib import Path

from filelock import FileLock

from meterlog.errors import SettingsError, UsageError, did_you_mean
from meterlog.exchange.finished_file import finished_file
from meterlog.text.safe import one_line

_FILE = "paired-devices.json"
LONGEST_NAME = 40
"""Characters of a device's name. A choice: it is read in a list."""
KEPT_DAYS = 365
"""A device that did not come for so long has to pair again; a guess."""


@dataclass(frozen=True, slots=True)
class Device:
    """A device that may ask.

    Attributes:
        name: what its owner called it; no two have the same.
        token_sha256: digest of what its cookie holds, so that the file alone lets nobody in.
        paired_on: the day, ISO 8601, UTC.
        seen_on: the day on which it came last.
    """

    name: str
    token_sha256: str
    paired_on: str
    seen_on: str


class Devices:
    """The devices of one file, whichever of this user's pages paired them. Usable from any thread.

    Args:
        folder: where the file is kept; made at the first pairing.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._file = folder / _FILE
        self._lock = threading.Lock()
        self._read: tuple[object, list[Device]] = (None, [])

    def all(self) -> list[Device]:
        """Every device, in the order of their pairing.

        Raises:
            SettingsError: the file is damaged.
        """
        with self._lock:
            stamp = self._stamp()
            if stamp != self._read[0]:
                self._read = stamp, self._from_file()
            return self._read[1]

    def pair(self, name: str) -> str:
        """Take in a device; the token that its cookie is to hold.

        Raises:
            SettingsError: the file cannot be read or written.
        """
        token, today = secrets.token_urlsafe(32), _today()
        called = one_line(name.strip())[:LONGEST_NAME] or "device"

        def add(devices: list[Device]) -> list[Device]:
            taken = {one.name for one in devices}
            names = (called if number == 1 else f"{called} {number}" for number in range(1, len(taken) + 2))
            free = next(one for one in names if one not in taken)
            return [*devices, Device(free, _digest(token), today, today)]

        self._change(add)
        return token

    def knows(self, token: str) -> bool:
        """Tell whether a cookie's token is a paired device's, and note that it came today.

        Raises:
            SettingsError: the file is damaged.
        """
        digest = _digest(token)
        found = [one for one in self.all() if hmac.compare_digest(one.token_sha256, digest)]
        if not found:
            return False
        if found[0].seen_on != _today():
            with suppress(SettingsError):  # a full disk is no reason to keep a phone out
                self._change(lambda all_: [replace(o, seen_on=_today()) if o in found else o for o in all_])
        return True

    def remove(self, name: str) -> None:
        """Let a device in no more.

        Raises:
            UsageError: there is none of that name.
            SettingsError: the file cannot be read or written.
        """

        def without(devices: list[Device]) -> list[Device]:
            names = [one.name for one in devices]
            if name not in names:
                raise UsageError(f"no device called '{name}' is paired{did_you_mean(name, names)}")
            return [one for one in devices if one.name != name]

        self._change(without)

    def _change(self, change: Callable[[list[Device]], list[Device]]) -> None:
        try:
            self._file.parent.mkdir(parents=True, exist_ok=True)
            with FileLock(self._file.with_suffix(".lock")):
                changed = change(_still_kept(self._from_file()))
                with finished_file(self._file, replace=True) as passing:
                    passing.write_text(json.dumps([asdict(one) for one in changed], indent=1), encoding="utf-8")
        except OSError as error:
            why = error.strerror or str(error)
            raise SettingsError(f"the paired devices cannot be kept in '{self._file.parent}': {why}") from error

    def _stamp(self) -> object:
        try:
            status = self._file.stat()
        except OSError:
            return None
        return status.st_mtime_ns, status.st_size, status.st_ino

    def _from_file(self) -> list[Device]:
        try:
            kept = json.loads(self._file.read_text(encoding="utf-8"))
            return [Device(**{key: str(value) for key, value in one.items()}) for one in kept]
        except FileNotFoundError:
            return []
        except (OSError, ValueError, TypeError, AttributeError) as error:
            raise SettingsError(f"'{self._file}' cannot be read: remove it, and pair your devices again") from error


def _still_kept(devices: list[Device]) -> list[Device]:
    today = datetime.now(UTC).date()
    return [one for one in devices if (today - datetime.fromisoformat(one.seen_on).date()).days <= KEPT_DAYS]


def _digest(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()


def _today() -> str:
    return datetime.now(UTC).date().isoformat()
