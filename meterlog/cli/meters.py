"""Lists the serial ports and the Bluetooth LE peripherals in reach; with --listen finds out which driver fits each,
and on what evidence.

Listening tries the line settings that the drivers declare and runs every decoder on the same bytes. It never writes
to a port unless --ask is given, which sends *IDN? to ports where nothing else fits. With --try PROFILE FILE it shows
what a profile makes of a raw capture, byte by byte, so that one can be written by looking.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from importlib import import_module
from pathlib import Path

from meterlog.cli.meters_ble import ble_lines
from meterlog.cli.readout import readout
from meterlog.driver import Driver, driver_errors, driver_names, load_driver
from meterlog.errors import DriverError, LinkError, UsageError
from meterlog.probe import FRAMES_AGREED, LISTEN_S, Heard, probe, probed_drivers

EXAMPLE = "meterlog meters --listen 5"

_TRY_PROFILE = "meterlog_drivers.try_profile"  # by name, as a command: the core imports no driver


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    parser.add_argument("port", nargs="*", metavar="PORT", help="listen to these ports, not to all")
    parser.add_argument(
        "--listen",
        type=float,
        nargs="?",
        const=LISTEN_S,
        metavar="S",
        help=f"listen this long to each port, s (default {LISTEN_S:g})",
    )
    parser.add_argument("--ask", action="store_true", help="also send *IDN? where nothing else fits; implies --listen")
    parser.add_argument("--drivers", action="store_true", help="list the drivers, their line settings and verification")
    parser.add_argument(
        "--try", dest="profile", nargs=2, metavar=("PROFILE", "FILE"), help="decode a raw capture with a profile"
    )


def run(args: argparse.Namespace) -> int:
    """List, listen, or try a profile."""
    if args.profile:
        _print(import_module(_TRY_PROFILE).try_profile(args.profile[0], Path(args.profile[1])))
        return 0
    if args.drivers:
        _print(driver_lines())
        return 0
    if (args.ask or args.port) and args.listen is None:
        args.listen = LISTEN_S
    if args.listen is not None and not 0.5 <= args.listen <= 600:
        raise UsageError(f"--listen wants 0.5 to 600 seconds, not {args.listen:g}")
    for section in SECTIONS:
        _print(section(args))
    return 0


def driver_lines() -> Iterator[str]:
    """The installed drivers: summary, line settings, modes, verification, and the package that provides each."""
    for name, package in driver_names().items():
        try:
            driver = load_driver(name)
            with driver_errors(name):
                yield from list(_about(driver))
        except DriverError as error:
            yield f"{name}: {error}"
            continue
        if package != "meterlog":
            yield f"    from the package {package}"


def _about(driver: Driver) -> Iterator[str]:
    yield f"{driver.name}: {driver.summary}"
    lines = "; ".join(str(line) for line in getattr(driver, "lines", ()))
    for what, text in (("line", lines), ("reads", ", ".join(driver.modes)), ("checked", driver.verification)):
        if text:
            yield f"    {what}: {text}"


def serial_lines(args: argparse.Namespace) -> Iterator[str]:
    """A block of lines a serial port."""
    ports = _ports(args.port)
    if not ports:
        yield "no serial ports: plug the meter's cable in (a USB cable's adapter may want a driver of the system's)"
        return
    if args.listen is None:
        for port, what in ports.items():
            yield f"{port}{f'  {what}' if what else ''}"
        yield "add --listen to find out which driver fits"
        return
    yield f"listening up to {args.listen:g} s to {', '.join(ports)}"
    _, failures = probed_drivers()
    yield from (f"  left out: {failure}" for failure in failures)
    with ThreadPoolExecutor(len(ports)) as pool:
        heard = {port: pool.submit(probe, port, args.listen, args.ask, FRAMES_AGREED) for port in ports}
        for port, what in ports.items():
            yield f"{port}{f'  {what}' if what else ''}"
            try:
                found = heard[port].result()
            except LinkError as error:
                yield f"  {error}"
                continue
            yield from (f"  {failure}" for failure in found.failures)
            yield from _heard_lines(found)


SECTIONS: tuple[Callable[[argparse.Namespace], Iterable[str]], ...] = (serial_lines, ble_lines)
"""What is listed, one after the other: each gives lines to print as they become known."""


def _print(lines: Iterable[str]) -> None:
    for line in lines:
        print(line, flush=True)


def _ports(named: list[str]) -> dict[str, str]:
    """The ports to look at, each with its USB identity in words."""
    from meterlog.transports.usb_port import ports

    listed = {}
    for info in ports():
        words = [str(getattr(info, "description", "") or "")]
        if info.vid is not None and info.pid is not None:
            words.append(f"USB {info.vid:04x}:{info.pid:04x}")
        if info.serial_number:
            words.append(f"serial number {info.serial_number}")
        listed[info.device] = ", ".join(w for w in words if w and w != "n/a")
    return {port: listed.get(port, "") for port in named} if named else listed


def _heard_lines(heard: Heard) -> Iterator[str]:
    if heard.answered is not None:
        driver, answer = heard.answered
        yield f"  {driver.name} answers when asked: {answer}"
        yield f"  checked: {driver.verification}"
    for candidate in heard.fits:
        options = f" with {candidate.options}" if candidate.options else ""
        at = f" at {heard.line}" if heard.line else ""
        yield f"  {candidate.driver.name}{options} fits{at}: {candidate.evidence}"
    address = heard.address
    if address is None:
        yield f"  {heard.doubt}"
        if heard.bytes_seen and not heard.fits:
            keep = f'meterlog record --raw --meter "text:{heard.port}" --for 10'
            yield f"  keep its bytes:  {keep}; then describe them in a profile (see drivers/README.md)"
        return
    yield from (f"  assumed: {text}" for text in heard.assumed)
    if heard.fits:
        yield f"  checked: {heard.fits[0].driver.verification}"
        shown = ", ".join(readout(reading) for reading in heard.fits[0].last[-3:])
        yield f"  it shows: {shown}; compare that with the meter's own display"
    yield f'  record it:  meterlog record --meter "{address}"'
