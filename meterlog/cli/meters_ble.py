"""The Bluetooth part of `meterlog meters`: who is in reach, and with --listen what they send."""

from __future__ import annotations

import argparse
import time
from collections.abc import Iterator
from typing import TYPE_CHECKING

from meterlog.address import Address
from meterlog.errors import LinkError, NoFrameFits

if TYPE_CHECKING:
    from meterlog.transports.ble import Peripheral

SCAN_S = 3.0
"""How long to listen for advertisements: most peripherals send some a second (default, unverified)."""


def ble_lines(args: argparse.Namespace) -> Iterator[str]:
    """A block of lines a BLE peripheral; nothing when ports are named, since those are serial ones."""
    if args.port:
        return
    from meterlog.transports.ble import scan

    try:
        peripherals = scan(SCAN_S)
    except LinkError as error:
        yield f"no Bluetooth meters: {error}"
        return
    if not peripherals:
        yield f"no Bluetooth LE peripheral in reach was heard in {SCAN_S:g} s: is the meter's Bluetooth on?"
        return
    yield f"Bluetooth LE peripherals heard in {SCAN_S:g} s, the strongest first"
    for peripheral in peripherals:
        yield f"ble:{peripheral.address}  {_words(peripheral)}"
        yield from _listened(peripheral, args.listen) if args.listen is not None else _guess(peripheral)


def _words(peripheral: Peripheral) -> str:
    words = [peripheral.name or "no name"]
    if peripheral.rssi_dbm is not None:
        words.append(f"{peripheral.rssi_dbm} dBm")
    if peripheral.connected:
        words.append("connected to this computer already")
    if peripheral.services:
        words.append(f"services {' '.join(peripheral.services)}")
    return ", ".join(words)


def _kind(peripheral: Peripheral) -> tuple[str, str]:
    """The decoder to try and what speaks for it; two empty words where nothing does."""
    from meterlog.transports.ble_services import MEASURING_SERVICES, SERIAL_SERVICES, short

    for decoder, known in (("auto", SERIAL_SERVICES), ("gatt", MEASURING_SERVICES)):
        for uuid, what in known.items():
            if short(uuid) in peripheral.services:
                return decoder, what
    return "", ""


def _guess(peripheral: Peripheral) -> Iterator[str]:
    decoder, what = _kind(peripheral)
    if decoder == "auto":
        yield f"  {what}: what is inside shows by listening (--listen)"
    elif decoder:
        yield f"  {what}: {decoder} may fit (--listen)"


def _listened(peripheral: Peripheral, listen_s: float) -> Iterator[str]:
    """Connect and listen, but only to what may be a meter: a stranger's peripheral is left alone."""
    decoder, what = _kind(peripheral)
    if not decoder:
        yield "  not connected to, since it says nothing of a serial or measuring service; if it is your meter:"
        yield f"  record it:  meterlog record --meter ble:{peripheral.address}"
        return
    address = Address("ble", peripheral.address, {"decoder": decoder, "search_s": f"{SCAN_S:g}"})
    try:
        found, evidence = _hear(address, listen_s)
    except LinkError as error:
        yield f"  {what}; {error}"
        return
    yield f"  {what}; {evidence}"
    yield f'  record it:  meterlog record --meter "{found}"'


def _hear(address: Address, listen_s: float) -> tuple[Address, str]:
    """Read for a while.

    Returns:
        The address with its decoder, and what came.

    Raises:
        LinkError: it cannot be opened, says nothing, or nothing fits.
    """
    from meterlog.driver import load_driver

    driver = load_driver("ble")
    if address.options["decoder"] == "auto":
        address = Address("ble", address.target, {**address.options, "listen_s": f"{listen_s:g}"})
    meter = driver.meter(address)
    connection = meter.open()
    try:
        end_s, quantities, count = time.monotonic() + listen_s, dict[str, None](), 0
        while time.monotonic() < end_s and count < 3:
            readings = connection.read(0.2) or []
            count += len(readings)
            quantities.update(dict.fromkeys(reading.quantity.words for reading in readings))
    finally:
        connection.close()
    found = getattr(meter, "found", None) or address
    if not count:
        raise NoFrameFits(f"connected, but nothing came in {listen_s:g} s", address.target)
    keep = {name: value for name, value in found.options.items() if name not in ("search_s", "listen_s")}
    kept = Address("ble", found.target, keep)
    return kept, f"{keep['decoder']} fits: {count} readings, {' and '.join(quantities)}"
