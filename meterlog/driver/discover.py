"""Finds what is in reach, and by listening which driver fits each and on what evidence: for the terminal and the page.

Listening writes nothing unless asked to, and connects over Bluetooth only to what may be a meter.
"""

from __future__ import annotations

import time
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from meterlog.address import Address
from meterlog.driver.probe import FRAMES_AGREED, Heard, probe, probed_drivers
from meterlog.driver.registry import load_driver
from meterlog.errors import MeterlogError, NoFrameFits
from meterlog.reading import Reading
from meterlog.transports import usb_port

if TYPE_CHECKING:
    from meterlog.transports.ble import Peripheral

SCAN_S = 3.0
"""Time to listen for advertisements: most peripherals send some a second (default, unverified), s."""
NO_PORTS = "no serial ports: plug the meter's cable in (a USB adapter may need a driver for this system)"
BLE_READINGS = 3
"""Readings of a Bluetooth meter that show it works; a choice."""
READINGS_SHOWN = 3
"""The last readings that are shown of a port: enough to compare with the display."""
LOOK_S = 0.2
"""Interval between looks at the clock, s; a choice."""


@dataclass(frozen=True, slots=True)
class Found:
    """Something in reach.

    Attributes:
        name: the serial port, or `ble:` and the peripheral's address.
        what: what the system or the peripheral says of itself; may be empty.
        address: what to record it with; None where that cannot be told.
        says: sentences about what fits, on what evidence, or why nothing can be told.
        readings: the last ones that were heard.
        undescribed: bytes came, and no driver knows them.
        draft: a profile drafted from them; empty where they are no lines of text.
        service: of a Bluetooth peripheral, what speaks for its being a meter; empty where nothing does.
        decoder: the one to try on that service.
    """

    name: str
    what: str = ""
    address: Address | None = None
    says: tuple[str, ...] = ()
    readings: tuple[Reading, ...] = ()
    undescribed: bool = False
    draft: str = ""
    service: str = ""
    decoder: str = ""


def serial_ports(named: Sequence[str] = ()) -> list[Found]:
    """List the named ports, or all that the system knows, with their USB identity; no port is opened."""
    listed = {info.device: _usb_words(info) for info in usb_port.ports()}
    chosen = {port: listed.get(port, "") for port in named} if named else listed
    return [Found(port, what, Address("auto", port)) for port, what in chosen.items()]


def left_out() -> list[str]:
    """Say of each driver that cannot be tried why not."""
    return probed_drivers()[1]


def listen(ports: Sequence[Found], listen_s: float, *, ask: bool = False) -> Iterator[Found]:
    """Listen to serial ports, all at the same time, and say what fits; in the order given.

    Args:
        ports: as `serial_ports` lists them.
        listen_s: how long to each, s.
        ask: where nothing fits, let drivers whose meters must be asked write to the port.
    """
    if not ports:
        return
    with ThreadPoolExecutor(len(ports)) as pool:
        probing = [(port, pool.submit(probe, port.name, listen_s, ask, FRAMES_AGREED)) for port in ports]
        for port, heard in probing:
            try:
                yield _with_heard(port, heard.result())
            except MeterlogError as error:
                yield replace(port, address=None, says=(str(error),))


def peripherals() -> list[Found]:
    """Scan for Bluetooth LE peripherals, the strongest first; none is connected to.

    Raises:
        LinkError: there is no Bluetooth, or it is off.
    """
    from meterlog.transports.ble import scan

    return [_with_service(peripheral) for peripheral in scan(SCAN_S)]


def no_peripherals() -> str:
    """Say that a scan heard nothing."""
    return f"no Bluetooth LE peripheral was heard in {SCAN_S:g} s: is the meter's Bluetooth on?"


def listen_to_peripheral(peripheral: Found, listen_s: float) -> Found:
    """Connect and listen, but only to what may be a meter: a stranger's peripheral is left alone."""
    if not peripheral.decoder or peripheral.address is None:
        why = "left alone, since it advertises no serial or measuring service; if it is your meter:"
        return replace(peripheral, says=(why,))
    options = {"decoder": peripheral.decoder, "search_s": f"{SCAN_S:g}"}
    try:
        kept, evidence = _hear(replace(peripheral.address, options=options), listen_s)
    except MeterlogError as error:
        return replace(peripheral, address=None, says=(f"{peripheral.service}; {error}",))
    return replace(peripheral, address=kept, says=(f"{peripheral.service}; {evidence}",))


def _usb_words(info: usb_port.PortInfo) -> str:
    words = [str(getattr(info, "description", "") or "")]
    if info.vid is not None and info.pid is not None:
        words.append(f"USB {info.vid:04x}:{info.pid:04x}")
    if info.serial_number:
        words.append(f"serial number {info.serial_number}")
    return ", ".join(word for word in words if word and word != "n/a")


def _with_heard(port: Found, heard: Heard) -> Found:
    says = list(heard.failures)
    if heard.answered is not None:
        driver, answer = heard.answered
        says += [f"{driver.name} answers when asked: {answer}", f"checked: {driver.verification}"]
    for candidate in heard.fits:
        options = f" with {candidate.options}" if candidate.options else ""
        at = f" at {heard.line}" if heard.line else ""
        says.append(f"{candidate.driver.name}{options} fits{at}: {candidate.evidence}")
    if heard.address is None:
        undescribed = bool(heard.bytes_seen and not heard.fits)
        return replace(port, address=None, says=(*says, heard.doubt), undescribed=undescribed, draft=heard.draft)
    says += [f"assumed: {text}" for text in heard.assumed]
    if not heard.fits:
        return replace(port, address=heard.address, says=tuple(says))
    best = heard.fits[0]
    says.append(f"checked: {best.driver.verification}")
    return replace(port, address=heard.address, says=tuple(says), readings=tuple(best.last[-READINGS_SHOWN:]))


def _with_service(peripheral: Peripheral) -> Found:
    decoder, service = _kind(peripheral)
    guess = {"": "", "auto": f"{service}: listening shows what is inside"}.get(decoder, f"{service}: {decoder} may fit")
    address = Address("ble", peripheral.address)
    says = (guess,) if guess else ()
    return Found(str(address), _ble_words(peripheral), address, says, service=service, decoder=decoder)


def _ble_words(peripheral: Peripheral) -> str:
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


def _hear(address: Address, listen_s: float) -> tuple[Address, str]:
    """Read for a while.

    Returns:
        The address with its decoder, and what came.

    Raises:
        MeterlogError: it cannot be opened, says nothing, or nothing fits.
    """
    driver = load_driver("ble")
    if address.options["decoder"] == "auto":
        address = Address("ble", address.target, {**address.options, "listen_s": f"{listen_s:g}"})
    meter = driver.meter(address)
    connection = meter.open()
    try:
        end_s, quantities, count = time.monotonic() + listen_s, dict[str, None](), 0
        while time.monotonic() < end_s and count < BLE_READINGS:
            readings = connection.read(LOOK_S) or []
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
