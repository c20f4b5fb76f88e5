"""Refuses a device that is given twice, however differently its two addresses are spelled."""

from __future__ import annotations

import os
import re
import socket
import stat
from collections.abc import Sequence
from urllib.parse import urlsplit

from meterlog.address import Address
from meterlog.errors import UsageError

_BLUETOOTH = re.compile(
    r"(?:[0-9A-F]{2}[:-]?){5}[0-9A-F]{2}|[0-9A-F]{8}(?:-[0-9A-F]{4}){3}-[0-9A-F]{12}", re.IGNORECASE
)
_WINDOWS_PORT = re.compile(r"(?:\\\\\.\\)?(COM\d+)", re.IGNORECASE)


def check_each_once(addresses: Sequence[Address]) -> None:
    """Refuse two addresses of one device: two readers of one line would each get half of its bytes.

    Raises:
        UsageError: with both, as they were typed.
    """
    seen: dict[tuple[str, ...], Address] = {}
    if len(addresses) < 2:
        return  # looking up a host's name may take seconds
    for address in addresses:
        names = _names(address.target)
        for name in names:
            if name in seen:
                raise UsageError(f"'{seen[name]}' and '{address}' are the same device: give each meter once")
        seen.update(dict.fromkeys(names, address))


def _names(target: str) -> list[tuple[str, ...]]:
    """Return what a device is known by, spelled in one way; nothing for a file or a simulation, which may be shared."""
    if "://" in target:
        return _endpoints(target)
    if _BLUETOOTH.fullmatch(target.strip()):
        return [("ble", re.sub("[:-]", "", target.strip()).upper())]
    if match := _WINDOWS_PORT.fullmatch(target):
        return [("port", match[1].upper())]
    real = os.path.realpath(target)
    return [("port", real)] if _is_device(real) else []


def _endpoints(url: str) -> list[tuple[str, ...]]:
    try:
        parts = urlsplit(url)
        host, port = parts.hostname, parts.port
    except ValueError:  # the driver says what is wrong with it
        return []
    if not host or port is None:
        return [("url", url)]
    try:
        hosts = {str(info[4][0]) for info in socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)}
    except (OSError, UnicodeError):  # a name that nobody knows just now: the opening says so
        hosts = {host.lower()}
    return [("tcp", "127.0.0.1" if one == "::1" else one, str(port)) for one in hosts]


def _is_device(path: str) -> bool:
    try:
        return stat.S_ISCHR(os.stat(path).st_mode)
    except (OSError, ValueError):
        return path.startswith("/dev/")
