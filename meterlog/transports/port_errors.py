"""Every way in which a serial port refuses to open, as one of our own errors with what to do about it."""

from __future__ import annotations

import errno
import os
import sys
from pathlib import Path

from meterlog.errors import LinkAbsent, LinkBusy, LinkError, LinkForbidden
from meterlog.transports import hid_cable

_ABSENT = {errno.ENOENT, errno.ENODEV, errno.ENXIO, errno.ENOTDIR, errno.ELOOP}
_BUSY = {errno.EBUSY, errno.EAGAIN, errno.EWOULDBLOCK, errno.ETXTBSY}
_FORBIDDEN = {errno.EACCES, errno.EPERM}
_NO_PORT = {errno.ENOTTY, errno.EINVAL, errno.EISDIR, errno.EIO}


def open_failure(port: str, error: Exception) -> LinkError:
    """The error to raise when opening `port` failed with `error` (an OSError of any kind, or termios.error)."""
    if hid_cable.is_hid(port):
        return hid_cable.open_failure(port)
    if "://" in port:
        return LinkAbsent(f"nothing answers at {port}: {_reason(error)}", port)
    number = _errno(error)
    if number in _FORBIDDEN:
        return LinkForbidden(f"the system denies access to {port}: {_how_to_join(port)}", port)
    if number in _BUSY:
        return LinkBusy(f"{port} is in use by {_holders(port)}: close that first", port)
    if number in _NO_PORT:
        return LinkAbsent(f"{port} is not a serial port, or there is no hardware behind that name", port)
    if number in _ABSENT:
        return LinkAbsent(
            f"there is no port {port}: is the adapter plugged in? 'meterlog meters' lists the ports in reach", port
        )
    return LinkAbsent(f"{port} cannot be opened: {_reason(error)}", port)


def _causes(error: BaseException | None) -> list[BaseException]:
    chain: list[BaseException] = []
    while error is not None and error not in chain:
        chain.append(error)
        error = error.__cause__ or error.__context__
    return chain


def _errno(error: Exception) -> int | None:
    """The system's error number. pyserial keeps it only sometimes; the exception it caught has it."""
    for cause in _causes(error):
        number = getattr(cause, "errno", None)
        if isinstance(number, int):
            return number
        if type(cause).__module__ == "termios" and cause.args and isinstance(cause.args[0], int):
            return cause.args[0]
    # On Windows pyserial puts the original error into its text alone; there 'access is denied' means 'in use'.
    text = str(error)
    if "FileNotFoundError" in text:
        return errno.ENOENT
    if "PermissionError" in text:
        return errno.EBUSY
    return None


def _reason(error: Exception) -> str:
    causes = _causes(error)
    return (getattr(causes[-1], "strerror", None) or str(causes[-1]) or type(error).__name__).strip()


def _how_to_join(port: str) -> str:
    if sys.platform == "win32":
        return "ask who administers this computer"
    import grp

    try:
        group = grp.getgrgid(os.stat(port).st_gid).gr_name
    except (OSError, KeyError):
        return "ask who administers this computer"
    return (
        f"it belongs to the group '{group}'; join it with 'sudo usermod -a -G {group} $USER', then log out and in again"
    )


def _holders(port: str) -> str:
    """Who has the port open, by name where the system tells it (Linux, for programs we may look at)."""
    if sys.platform == "win32":
        return "another program"
    try:
        device = os.stat(port).st_rdev
    except OSError:
        return "another program"
    names = set()
    for process in Path("/proc").glob("[0-9]*"):
        try:
            if any(_is_device(link, device) for link in (process / "fd").iterdir()):
                names.add(f"{(process / 'comm').read_text().strip()} (process {process.name})")
        except OSError:
            continue
    names.discard(_own_name())
    if names:
        return " and ".join(sorted(names))
    return "another program (a second recording, a terminal program, the system's modem service?)"


def _is_device(link: Path, device: int) -> bool:
    try:
        return sys.platform != "win32" and str(link.readlink()).startswith("/dev/") and link.stat().st_rdev == device
    except OSError:
        return False


def _own_name() -> str:
    try:
        return f"{Path('/proc/self/comm').read_text().strip()} (process {os.getpid()})"
    except OSError:
        return ""
