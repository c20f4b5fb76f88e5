"""List the serial ports and Bluetooth LE peripherals in reach; with --listen, find out which driver fits each and on
what evidence. For lines of text that no driver knows a profile is drafted; --out keeps it.

Listening tries the line settings that the drivers declare and runs every decoder on the same bytes. It never writes
to a port unless --ask is given, which sends *IDN? to ports where nothing else fits. --try PROFILE FILE shows how
a profile reads a raw capture, byte by byte, which helps when writing one. --teach learns an unknown meter from what
its display shows: it asks, you type; or from a raw capture and a list of what was shown, --shown. --check compares a
driver with the display, once for each meter. --zero nulls the leads or a clamp, and keeps that with the saved meter.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable, Iterable, Iterator
from importlib import import_module
from pathlib import Path

from meterlog.capture import meter_setup
from meterlog.cli.terminal.readout import readout
from meterlog.cli.terminal.wrap import wrapped
from meterlog.cli.terminal.zero_lines import zero_meter
from meterlog.driver import Driver, discover, driver_errors, driver_names, load_driver
from meterlog.driver.discover import Found
from meterlog.driver.probe import LISTEN_S, SILENT
from meterlog.errors import DriverError, LinkError, NotLearned, UsageError
from meterlog.exchange.finished_file import finished_file, refuse_existing
from meterlog.settings import meter_address, read_settings, save_meter
from meterlog.text.safe import one_line

EXAMPLE = "meterlog meters --listen 5"

_TRY_PROFILE = "meterlog_drivers.profiles.try_profile"  # by name, as a command: the core imports no driver
_TEACH = "meterlog_drivers.teach.dialogue"
_CHECK = "meterlog_drivers.teach.check"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    parser.add_argument("port", nargs="*", metavar="PORT", help="listen to these ports only")
    parser.add_argument(
        "--listen",
        type=float,
        nargs="?",
        const=LISTEN_S,
        metavar="S",
        help=f"listen this long to each port, s (default {LISTEN_S:g})",
    )
    parser.add_argument("--ask", action="store_true", help="also send *IDN? where nothing else fits; implies --listen")
    parser.add_argument(
        "--save",
        nargs=2,
        metavar=("NAME", "ADDRESS"),
        help="save a meter in your settings, with the options of its address; then --meter NAME will do",
    )
    parser.add_argument("--drivers", action="store_true", help="list the drivers, their line settings and verification")
    parser.add_argument(
        "--try", dest="profile", nargs=2, metavar=("PROFILE", "FILE"), help="decode a raw capture with a profile"
    )

    parser.add_argument("--teach", metavar="PORT|CAPTURE", help="learn an unknown meter from what its display shows")
    parser.add_argument("--check", metavar="ADDRESS", help="compare five readings of a meter with its display")
    parser.add_argument("--zero", metavar="ADDRESS", help="null the leads or the clamp of a meter, now")
    parser.add_argument(
        "--shown", type=Path, metavar="FILE", help="with a capture: what the display showed, CSV with time_s,shown"
    )
    parser.add_argument(
        "--out",
        type=Path,
        metavar="FILE",
        help="where --teach (default meter.toml), or a port that is listened to, writes a profile",
    )
    parser.add_argument("--replace", action="store_true", help="with --out: write over an existing file")


def run(args: argparse.Namespace) -> int:
    """List, listen, try a profile, or teach."""
    if args.teach:
        _print(import_module(_TEACH).teach_meter(args.teach, args.shown, args.out, _asked, replace=args.replace))
        return 0
    if args.check:
        _print(import_module(_CHECK).check_meter(args.check, _asked))
        return 0
    if args.zero:
        _print(zero_meter(args.zero, _asked))
        return 0
    if args.shown or ((args.out or args.replace) and len(args.port) != 1):
        raise UsageError("--shown goes with --teach; --out and --replace with --teach or with one port")
    if args.save:
        _save(*args.save)
        return 0
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
    if args.out:
        refuse_existing(args.out, replace=args.replace)
    for section in SECTIONS:
        _print(section(args))
    return 0


def _save(name: str, typed: str) -> None:
    address = meter_setup(typed).address  # refused before anything is written
    path = save_meter(name, address)
    print(f"saved in {one_line(str(path))}: record it with --meter {name}")


def saved_lines(args: argparse.Namespace) -> Iterator[str]:
    """A line a saved meter; nothing when ports are named."""
    if not args.port:
        yield from (f"saved as {name}: {meter_address(name)}" for name in read_settings().meters)


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
    ports = discover.serial_ports(args.port)
    if not ports:
        yield discover.NO_PORTS
        return
    if args.listen is None:
        yield from map(_heading, ports)
        yield "add --listen to find out which driver fits"
        return
    yield f"listening up to {args.listen:g} s to {', '.join(port.name for port in ports)}"
    yield from (f"  left out: {failure}" for failure in discover.left_out())
    for port in discover.listen(ports, args.listen, ask=args.ask):
        yield _heading(port)
        yield from _heard_lines(port)
        if args.out:
            yield _kept_draft(port, args.out)


def ble_lines(args: argparse.Namespace) -> Iterator[str]:
    """A block of lines a BLE peripheral; nothing when ports are named, since those are serial ones."""
    if args.port:
        return
    try:
        peripherals = discover.peripherals()
    except LinkError as error:
        yield f"no Bluetooth meters: {error}"
        return
    if not peripherals:
        yield discover.no_peripherals()
        return
    yield f"Bluetooth LE peripherals heard in {discover.SCAN_S:g} s, the strongest first"
    for peripheral in peripherals:
        yield _heading(peripheral)
        if args.listen is None:
            yield from (f"  {sentence} (--listen)" for sentence in peripheral.says)
        else:
            yield from _heard_lines(discover.listen_to_peripheral(peripheral, args.listen))


SECTIONS: tuple[Callable[[argparse.Namespace], Iterable[str]], ...] = (saved_lines, serial_lines, ble_lines)
"""The sections of the list, in their order: each yields lines to print as they become known."""


def _print(lines: Iterable[str]) -> None:
    for line in lines:
        for part in line.split("\n"):
            whole = part.lstrip().startswith("meterlog ")  # a command is copied: the terminal may break it, no line end
            print(part if whole else wrapped(part), flush=True)


def _asked(prompt: str) -> str | None:
    """Return what the person types; None at the end of input."""
    try:
        return input(wrapped(prompt))
    except EOFError:
        return None


def _kept_draft(found: Found, out: Path) -> str:
    """Write the profile that was drafted, and say how to use it.

    Raises:
        NotLearned: none was drafted.
    """
    if not found.draft:
        raise NotLearned(f"'{out}' was not written: no profile was drafted from what {found.name} sends")
    with finished_file(out, replace=True) as passing:  # an existing one was asked about before
        passing.write_text(found.draft, encoding="utf-8")
    address = f"text:{found.name}?profile={out}"
    return f'  wrote {out}; compare it with the display:  meterlog meters --check "{address}"'


def _heading(found: Found) -> str:
    return f"{found.name}{f'  {found.what}' if found.what else ''}"


def _heard_lines(found: Found) -> Iterator[str]:
    yield from (f"  {sentence}{' (--ask)' if sentence == SILENT else ''}" for sentence in found.says)
    if found.draft:
        yield from (f"      {line}" for line in found.draft.splitlines())
    elif found.undescribed:
        keep = f'meterlog record --raw --meter "text:{found.name}" --for 10'
        yield f"  keep its bytes:  {keep}; then describe them in a profile (see drivers/README.md)"
    if found.readings:
        shown = ", ".join(readout(reading) for reading in found.readings)
        yield f"  it shows: {shown}; compare that with the meter's own display"
    if found.address is not None:
        yield f'  record it:  meterlog record --meter "{found.address}"'
