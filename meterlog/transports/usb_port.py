"""Tells which USB adapter a port is, so that it is found again when its name has changed."""

from __future__ import annotations

import os
from collections.abc import Iterable
from typing import NamedTuple, Protocol

from meterlog.transports import hid_cable


class PortInfo(Protocol):
    """The part of pyserial's list of ports that is used."""

    device: str
    vid: int | None
    pid: int | None
    serial_number: str | None
    location: str | None


class UsbIdentity(NamedTuple):
    """The identity of an adapter: what stays the same when it is unplugged and plugged in again.

    Attributes:
        vendor: USB vendor number.
        product: USB product number.
        serial_number: the adapter's own number; many cheap adapters have none.
        location: the socket it sits in, as the system names it.
        device: the port's name when it was last seen.
    """

    vendor: int
    product: int
    serial_number: str | None
    location: str | None
    device: str


def ports() -> list[PortInfo]:
    """The serial ports and USB-HID cables that the system lists now."""
    from serial.tools.list_ports import comports  # 10-20 ms, and needed by real adapters only

    return [*comports(), *hid_cable.cables()]


def identify(device: str, listed: Iterable[PortInfo]) -> UsbIdentity | None:
    """The identity of a port, by name or by a link to it; None where it is not a USB adapter."""
    real = os.path.realpath(device)
    for info in listed:
        if info.device in (device, real) and info.vid is not None and info.pid is not None:
            return UsbIdentity(info.vid, info.pid, info.serial_number or None, info.location, info.device)
    return None


def locate(wanted: UsbIdentity, listed: Iterable[PortInfo]) -> str | None:
    """The name of the port that this adapter has now; None where it cannot be told.

    An adapter with a serial number is known by it. Of several without one, the one with the old name or in the
    old socket is taken, or the only one there is; never a guess between two.
    """
    same = [info for info in listed if (info.vid, info.pid) == (wanted.vendor, wanted.product)]
    same = [info for info in same if (info.serial_number or None) == wanted.serial_number]
    if len(same) > 1:
        same = [info for info in same if info.location is not None and info.location == wanted.location] or [
            info for info in same if info.device == wanted.device
        ]
    return same[0].device if len(same) == 1 else None
