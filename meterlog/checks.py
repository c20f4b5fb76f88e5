"""Remembers which meters were compared with their displays, beside the user's settings: by USB identity or BLE address.

A check holds for a meter and for how its bytes are read: another driver, option or profile is another check.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any, NamedTuple

from meterlog.address import Address
from meterlog.display_check import check_words
from meterlog.driver import COMMON_OPTIONS, load_driver
from meterlog.errors import DriverError, SettingsError
from meterlog.exchange.finished_file import finished_file
from meterlog.settings import settings_path
from meterlog.text.toml import read_toml
from meterlog.transports.serial_line import LINE_OPTIONS
from meterlog.transports.usb_port import identify, ports

_NOT_READING = COMMON_OPTIONS | LINE_OPTIONS | {"search_s", "listen_s"}
"""Options that say nothing about what the bytes mean."""
_FAKES = ("sim", "replay")
"""Drivers behind which stands no meter."""
_NO_METER = (*_FAKES, "auto")
"""And the one of which nobody knows yet which stands there."""


class Check(NamedTuple):
    """One check that came out well.

    Attributes:
        meter: which meter.
        reads: how its bytes are read.
        day: when, ISO 8601.
        readings: how many were compared.
    """

    meter: str
    reads: str
    day: str
    readings: int


def checks_path() -> Path:
    """Return the file of the checks, which need not exist."""
    return settings_path().with_name("checks.toml")


def read_checks() -> tuple[Check, ...]:
    """Return every check that is kept, the oldest first.

    Raises:
        SettingsError: the file of the checks cannot be understood.
    """
    path = checks_path()
    try:
        toml = read_toml(str(path), SettingsError)
    except (FileNotFoundError, NotADirectoryError):
        return ()
    rows: Any = toml.values.get("check", [])
    try:
        return tuple(Check(str(r["meter"]), str(r["reads"]), str(r["day"]), int(r["readings"])) for r in rows)
    except (KeyError, TypeError, ValueError, OverflowError) as error:
        raise SettingsError(f"{path}: a [[check]] needs meter, reads, day and readings; remove the file") from error


def checks_for(address: Address) -> tuple[Check, ...]:
    """Return the checks that may be of the meter behind an address; their file is not read where none stands there.

    Raises:
        SettingsError: the file of the checks cannot be understood.
    """
    return () if address.scheme in _FAKES else read_checks()


def remembered(address: Address, checks: Sequence[Check]) -> Check | None:
    """Return the last check of the meter behind an address, read as the address says; None where there was none."""
    if address.scheme in _NO_METER or not checks:  # then the ports need not be listed, which takes a while
        return None
    meter, reads = _meter(address), _reads(address)
    return next((one for one in reversed(checks) if (one.meter, one.reads) == (meter, reads)), None)


def remember(address: Address, day: str, readings: int) -> None:
    """Keep a check that came out well.

    Raises:
        SettingsError: the file of the checks cannot be understood.
        SessionWriteFailed: it cannot be written.
    """
    fresh = Check(_meter(address), _reads(address), day, readings)
    kept = [one for one in read_checks() if one[:2] != fresh[:2]]
    path = checks_path()
    path.parent.mkdir(parents=True, exist_ok=True)
    lines = ["# Meters that were compared with their displays; written by 'meterlog meters --check'."]
    for one in (*kept, fresh):
        lines += ["", "[[check]]", *(f"{key} = {json.dumps(value)}" for key, value in one._asdict().items())]
    with finished_file(path, replace=True) as passing:
        passing.write_text("\n".join(lines) + "\n", encoding="utf-8")


def note_of(address: Address, checks: Sequence[Check]) -> str:
    """Return the note that a channel of this meter carries; empty where it was never compared."""
    check = remembered(address, checks)
    return check_words(check.day, check.readings) if check else ""


def unchecked(address: Address, checks: Sequence[Check]) -> str:
    """Say that a byte table nobody has verified was never compared with this meter's display; empty where it was."""
    decoder = address.options.get("decoder", "")
    name = decoder if address.scheme == "ble" and decoder else address.scheme
    try:
        verification = load_driver(name).verification
    except DriverError:
        return ""
    if address.scheme in _NO_METER or "unverified" not in verification or remembered(address, checks):
        return ""
    return (
        f"{name}'s byte table is {verification}; it was never compared with this meter's display: a wrong table shows"
        f' other readings without a sign of it; meterlog meters --check "{address}" takes five readings'
    )


def _meter(address: Address) -> str:
    """Name a meter by what stays the same: its BLE address, its adapter's USB identity, or else its port."""
    if address.scheme == "ble":
        return f"ble:{address.target.upper()}"
    usb = identify(address.target, ports()) if address.target.startswith(("/dev/", "COM")) else None
    if usb is None:
        return address.target
    return f"usb:{usb.vendor:04x}:{usb.product:04x}:{usb.serial_number or usb.location or usb.device}"


def _reads(address: Address) -> str:
    """Say how bytes are read: the driver, the options that change their meaning, what the profile says."""
    options = {key: value for key, value in sorted(address.options.items()) if key not in _NOT_READING}
    said = "&".join([address.scheme, *(f"{key}={value}" for key, value in options.items())])
    profile = Path(options.get("profile", ""))
    if options.get("profile") and profile.is_file():
        said += f"#{hashlib.sha256(profile.read_bytes()).hexdigest()[:16]}"
    return said
