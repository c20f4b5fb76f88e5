"""USB-HID cables with a UART behind them: found by USB numbers, opened as `cp2110://PATH`; needs the extra `hid`.

The chip's protocol is its maker's public interface specification, spoken by pyserial (`url_handlers/`). Not tried with
a cable: none was at hand.
"""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from meterlog.errors import LinkAbsent, LinkError, LinkForbidden
from meterlog.extras import missing_extra

SCHEME = "cp2110://"
HANDLERS = "meterlog.transports.url_handlers"
"""The package in which pyserial looks for handlers of URLs first."""
CABLES = {(0x10C4, 0xEA80), (0x10C4, 0xEAB0)}
"""USB vendor and product numbers of such chips (from memory, unverified)."""


@dataclass
class HidCable:
    """One such cable, as a port: see `usb_port.PortInfo`."""

    device: str
    description: str
    vid: int | None
    pid: int | None
    serial_number: str | None
    location: str | None = None


def is_hid(port: str) -> bool:
    """Tell whether a port's name is that of such a cable."""
    return port.startswith(SCHEME)


def cables() -> list[HidCable]:
    """The cables that are plugged in; none where the extra is not installed."""
    try:
        import hid
    except ImportError:
        return []
    return [_cable(row) for row in hid.enumerate() if (row["vendor_id"], row["product_id"]) in CABLES]


def _cable(row: Mapping[str, Any]) -> HidCable:
    words = str(row.get("product_string") or "USB-HID cable")
    serial_number = row.get("serial_number") or None
    return HidCable(
        SCHEME + row["path"].decode("utf-8", "replace"), words, row["vendor_id"], row["product_id"], serial_number
    )


def prepare(port: str) -> None:
    """Let pyserial find the handler of such a port.

    Raises:
        LinkAbsent: the extra is not installed.
    """
    import serial

    try:
        import hid  # noqa: F401 - what the handler needs; pyserial would say that the URL is of an unknown kind
    except ImportError as error:
        raise LinkAbsent(missing_extra(error) or f"hidapi cannot be loaded: {error}", port) from error
    if HANDLERS not in serial.protocol_handler_packages:
        serial.protocol_handler_packages.insert(0, HANDLERS)


def open_failure(port: str) -> LinkError:
    """The error to raise when such a cable did not open; the library says no more than that it failed."""
    path = port.removeprefix(SCHEME)
    if os.path.exists(path) and not os.access(path, os.R_OK | os.W_OK):
        return LinkForbidden(
            f"the system denies access to {path}: USB-HID devices belong to the administrator until a udev rule for"
            " them says otherwise",
            port,
        )
    return LinkAbsent(f"there is no cable {port}, or another program has it: 'meterlog meters' lists them", port)
