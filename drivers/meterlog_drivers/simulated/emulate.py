"""Emulates a meter at the simulated van on a real port: a pseudo-terminal, TCP with --tcp, or Bluetooth with --ble.

The first line of the output is the port to open, nothing else; further ports of a scenario with several test points
follow, one a line. Lines that begin with spaces explain. The scenario begins when a port is first opened and repeats
until Ctrl-C. 'emulate van' is the van with a fault, measured where you type; 'emulate fuse-box' its fuse box.
"""

from __future__ import annotations

import argparse
import contextlib
import sys
import threading
import time
from pathlib import Path
from typing import TYPE_CHECKING, TextIO

from meterlog.address import Address
from meterlog.driver import load_driver
from meterlog.driver.framing import Encoder, FramingDriver
from meterlog.errors import SessionWriteFailed, UsageError
from meterlog_drivers.simulated.driver import FUSE_BOX, VAN, scenario_named
from meterlog_drivers.simulated.emulation.emulator import Emulator, Outlet, shows_columns
from meterlog_drivers.simulated.emulation.ports import Port, PseudoTerminal, TcpPort
from meterlog_drivers.simulated.scenario import Run

if TYPE_CHECKING:
    from meterlog_drivers.simulated.bluetooth.ble_port import SimulatedAdapter
    from meterlog_drivers.simulated.emulation.fuse_box_port import FuseBoxPorts
    from meterlog_drivers.simulated.emulation.moved_probes import MovedProbes

EXAMPLE = "meterlog emulate healthy-prime --driver status14"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    parser.add_argument("scenario", nargs="?", metavar="SCENARIO", help="what happens to the van; see --list")
    parser.add_argument("--fault", metavar="F", help="of 'van': PART:KIND, PART:OHM, none or hidden (default hidden)")
    parser.add_argument("--list", action="store_true", help="list the scenarios and exit")
    parser.add_argument(
        "--driver",
        default="status14",
        metavar="D",
        help="whose frames to send, with its options: text?profile=columns (default status14)",
    )
    kind = parser.add_mutually_exclusive_group()
    kind.add_argument(
        "--tcp", type=int, metavar="PORT", help="on TCP instead of a pseudo-terminal; 0 takes a free port"
    )
    kind.add_argument("--ble", action="store_true", help="on a simulated Bluetooth adapter (Linux with dbus-daemon)")
    parser.add_argument("--seed", type=int, default=0, help="seed of all that varies by chance (default 0)")
    parser.add_argument("--interval", type=float, default=0.33, metavar="S", help="between displays, s (default 0.33)")
    parser.add_argument("--counts", type=int, default=4000, help="highest number the display shows (default 4000)")
    parser.add_argument("--speed", type=float, default=1.0, metavar="X", help="play X times as fast (default 1)")
    parser.add_argument("--once", action="store_true", help="stop after one lap instead of repeating")
    parser.add_argument("--shown", type=Path, metavar="FILE", help="write each reading that was sent to a CSV file")


def run(args: argparse.Namespace) -> int:
    """Emulate until the end or Ctrl-C."""
    if args.list or args.scenario is None:
        return _list_scenarios(asked=args.list)
    address = told(Address.parse(_as_address(args.driver)))
    if not (0.001 <= args.interval <= 60 and args.speed > 0 and args.counts >= 1000 and args.seed >= 0):
        raise UsageError("--interval is 0.001 to 60 s, --speed more than 0, --counts at least 1000, --seed at least 0")
    overrides = {"interval_s": args.interval, "counts": args.counts}
    if args.scenario == VAN:
        return _van(address, overrides, args)
    if args.scenario == FUSE_BOX:
        return _fuse_box(address, overrides, args)
    if args.fault is not None:
        raise UsageError(f"--fault is for 'emulate van': the scenario '{args.scenario}' has its own")
    scenario = scenario_named(args.scenario)
    together = scenario.run(args.seed, together=True, **overrides)
    if address.scheme == "scpi":
        return _answer_queries(together, args)
    encoder = _encoder(address)
    in_columns = len(together.probes) > 1 and shows_columns(encoder, together)
    played = together if in_columns else scenario.run(args.seed, **overrides)
    groups = [tuple(range(len(played.probes)))] if in_columns else [(k,) for k in range(len(played.probes))]
    with contextlib.ExitStack() as stack:
        adapter = _adapter(stack) if args.ble else None
        outlets = [Outlet(_port(n, args, adapter, stack), channels) for n, channels in enumerate(groups)]
        shown = stack.enter_context(_opened(args.shown)) if args.shown else None
        emulator = Emulator(played, encoder, outlets, args.speed, shown)
        _announce(played, outlets, address, args, adapter.setting if adapter is not None else "")
        with contextlib.suppress(KeyboardInterrupt):
            emulator.play(1 if args.once else None)
    return 0


def _port(n: int, args: argparse.Namespace, adapter: SimulatedAdapter | None, stack: contextlib.ExitStack) -> Port:
    """The n-th port of the kind that was asked for."""
    port: Port
    if adapter is not None:
        port = adapter.port(n)
    else:
        port = PseudoTerminal() if args.tcp is None else TcpPort(args.tcp and args.tcp + n)
    stack.callback(port.close)
    return port


def _van(address: Address, overrides: dict[str, float], args: argparse.Namespace) -> int:
    """Emulate a meter at the van, its probes and key moved by what is typed."""
    from meterlog_drivers.simulated.emulation.moved_probes import HELP, MovedProbes
    from meterlog_drivers.simulated.measured import MeasuredVan
    from meterlog_drivers.simulated.van.faults import HIDDEN, faults_named

    if args.ble or args.once or args.shown or address.scheme == "scpi":
        raise UsageError("'emulate van' is for a port and a driver that sends: without --ble, --once, --shown, scpi")
    van = MeasuredVan(faults_named(args.fault or HIDDEN, args.seed), args.seed)
    with contextlib.ExitStack() as stack:
        port = _port(0, args, None, stack)
        probes = MovedProbes(van, _encoder(address), port, args.speed, overrides)
        meter = Address(address.scheme, port.name, address.options)
        _say(port.name, f"  a meter at the van: meterlog job start van --meter {meter}", f"  {HELP}")
        threading.Thread(target=_hand_lines, args=(probes,), daemon=True).start()
        with contextlib.suppress(KeyboardInterrupt):
            probes.play(lambda text: _say(f"  {text}"))
    return 0


def _fuse_box(address: Address, overrides: dict[str, float], args: argparse.Namespace) -> int:
    """Emulate a meter at the van's fuse box and a clamp at its battery, the probes moved by what is typed."""
    from meterlog_drivers.simulated.emulation.fuse_box_port import HELP, FuseBoxPorts
    from meterlog_drivers.simulated.van.fuse_box import FuseBox

    if args.ble or args.once or args.shown or args.fault is not None or address.scheme == "scpi":
        raise UsageError(f"'emulate {FUSE_BOX}' goes without --ble, --once, --shown, --fault, scpi")
    with contextlib.ExitStack() as stack:
        ports = _port(0, args, None, stack), _port(1, args, None, stack)
        box = FuseBoxPorts(FuseBox(args.seed), _encoder(address), ports, args.speed, overrides)
        meter, clamp = (str(Address(address.scheme, port.name, address.options)) for port in ports)
        command = f'meterlog sweep --meter "{meter}" --clamp "{clamp}"'
        _say(*(port.name for port in ports), f"  in another shell:  {command}", f"  {HELP}")
        threading.Thread(target=_hand_lines, args=(box,), daemon=True).start()
        with contextlib.suppress(KeyboardInterrupt):
            box.play(lambda text: _say(f"  {text}"))
    return 0


def _hand_lines(probes: MovedProbes | FuseBoxPorts) -> None:
    for line in sys.stdin:
        probes.tell(line)


def _say(*lines: str) -> None:
    sys.stdout.write("\n".join(lines) + "\n")
    sys.stdout.flush()


def _answer_queries(together: Run, args: argparse.Namespace) -> int:
    """Emulate a bench meter that sends nothing by itself."""
    from meterlog_drivers.simulated.emulation.scpi_display import scpi_server

    if args.tcp is None or args.shown:
        raise UsageError(
            "a bench meter answers over TCP and keeps no list of what it showed: use --tcp PORT, without --shown"
        )
    server, display = scpi_server(together, args.speed, args.tcp)
    with server:
        shown = [f"{together.probes[k].label} ({together.quantity(k).words})" for k in display.channels]
        _print_port(
            [server.url], [f"{server.url} answers with {', '.join(shown)}"], [f"scpi:{server.url}"], together, args
        )
        with contextlib.suppress(KeyboardInterrupt):
            while not (args.once and display.over):
                time.sleep(0.1)
    return 0


def _adapter(stack: contextlib.ExitStack) -> SimulatedAdapter:
    from meterlog_drivers.simulated.bluetooth.ble_port import SimulatedAdapter

    adapter = SimulatedAdapter()
    stack.callback(adapter.close)
    return adapter


def _list_scenarios(asked: bool) -> int:
    from meterlog_drivers.simulated.scenarios import SCENARIOS

    if not asked:
        raise UsageError(f"name a scenario: {', '.join(SCENARIOS)}; 'meterlog emulate --list' describes each")
    width = max(map(len, SCENARIOS))
    print(f"{VAN:<{width}}  The van with a fault of your choice or a hidden one, measured where you type.")
    print(f"{FUSE_BOX:<{width}}  Its fuse box with the key off, fuse by fuse, and a clamp at the battery.")
    for name, scenario in SCENARIOS.items():
        print(f"{name:<{width}}  {scenario.summary}")
    return 0


def _as_address(driver: str) -> str:
    """`text?profile=columns` as the address of a port that has no name yet."""
    name, question, options = driver.partition("?")
    return f"{name}:emulated{question}{options}"


def told(address: Address) -> Address:
    """The address with what only a person can tell of its bytes, where none of that was given."""
    emulated = getattr(load_driver(address.scheme), "emulated", "")
    options = Address.parse(f"x:?{emulated}").options
    if options.keys() & address.options.keys():
        return address
    return Address(address.scheme, address.target, {**options, **address.options})


def _encoder(address: Address) -> Encoder:
    driver = load_driver(address.scheme)
    if not isinstance(driver, FramingDriver) or not driver.streams:
        raise UsageError(
            f"{address.scheme} does not send a stream of frames: choose a driver that does, such as status14 or text"
        )
    driver.check(address)
    return driver.encoder(address)


def _opened(path: Path) -> TextIO:
    try:
        return path.open("w", encoding="utf-8")
    except OSError as error:
        raise SessionWriteFailed(f"'{path}' cannot be written: {error.strerror}", str(path)) from error


def _announce(played: Run, outlets: list[Outlet], address: Address, args: argparse.Namespace, setting: str) -> None:
    pace, what = f"every {args.interval / args.speed:g} s", []
    for outlet in outlets:
        shown = ", ".join(f"{played.probes[k].label} ({played.quantity(k).words})" for k in outlet.channels)
        what.append(f"{outlet.port.name} shows {shown} {pace} as {address.scheme} does")
    scheme, options = address.scheme, address.options
    if setting:
        scheme, options = "ble", {"decoder": address.scheme, **address.options}
        what.append(f"to see this Bluetooth adapter in the other shell:  export {setting}")
    ports = [outlet.port.name for outlet in outlets]
    _print_port(ports, what, [str(Address(scheme, port, options)) for port in ports], played, args)


def _print_port(ports: list[str], what: list[str], meters: list[str], played: Run, args: argparse.Namespace) -> None:
    """The ports, one a line; then what they show, what to type, and how long it takes."""
    command = " ".join(f'--meter "{meter}"' if "?" in meter else f"--meter {meter}" for meter in meters)
    lap = f"takes {played.lap_s / args.speed:g} s" + ("" if args.once else ", repeats until Ctrl-C")
    more = [*what, f"record it in another shell:  meterlog record {command}"]
    more.append(f"{played.name} begins when a port is opened, {lap}")
    _say(*ports, *("  " + line for line in more))
