"""Live capture and review in a browser. The page listens on this computer only, unless --lan is given."""

from __future__ import annotations

import argparse
import contextlib
import logging
import socket
import sys
import threading
from pathlib import Path
from typing import TYPE_CHECKING

from meterlog.errors import UsageError
from meterlog.settings import data_folder

if TYPE_CHECKING:  # it imports much
    from meterlog_dashboard.gate.access import Lan

EXAMPLE = "meterlog page --port 8050 ./sessions"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    parser.add_argument("folder", nargs="?", default=".", type=Path, help="where the sessions are (default: here)")
    parser.add_argument("--port", type=int, default=8050, help="the port to listen on (default: 8050; 0: a free one)")
    parser.add_argument(
        "--lan", action="store_true", help="let a phone in the same network in, with the one-time code shown here"
    )
    parser.add_argument("--devices", action="store_true", help="list the paired devices, and end")
    parser.add_argument("--unpair", metavar="NAME", help="let a paired device in no more, and end")


def run(args: argparse.Namespace) -> int:
    """Serve until Ctrl-C."""
    if args.devices or args.unpair is not None:
        return _devices(args.unpair)
    if not args.folder.is_dir():
        raise UsageError(f"there is no folder '{args.folder}'")
    if not 0 <= args.port <= 65535:
        raise UsageError(f"--port must be from 0 to 65535, not {args.port}")
    from meterlog_dashboard.gate.access import LOOPBACK, Access, Lan
    from meterlog_dashboard.gate.certificate import own_certificate
    from meterlog_dashboard.gate.devices import Devices

    address = _own_address() if args.lan else None
    hosts = [*LOOPBACK, *([address] if address else [])]
    listening = _listen("127.0.0.1", args.port)
    port = int(listening.getsockname()[1])
    certificate = own_certificate(data_folder(), address) if address else None
    devices = Devices(data_folder())
    devices.all()  # a damaged list is said now
    lan = Lan(devices, f"https://{address}:{port}", certificate.fingerprint) if certificate else None
    access = Access(hosts, port, lan, lambda code: _show_code(code, lan))
    from waitress.server import create_server

    from meterlog_dashboard.downloads.tables import AT_ONCE
    from meterlog_dashboard.frame.app import build
    from meterlog_dashboard.frame.compression import prepare
    from meterlog_dashboard.gate.lan_server import LARGEST_BODY_BYTES, THREADS, WAITING_BYTES, serve_lan
    from meterlog_dashboard.programs.routes import LISTENERS

    application = build(args.folder, access).server
    # A browser that opens a page asks for many files at once: that they wait a moment is no news for the terminal.
    logging.getLogger("waitress.queue").setLevel(logging.ERROR)
    threads = THREADS + LISTENERS + AT_ONCE
    server = create_server(
        application,
        sockets=[listening],
        threads=threads,
        outbuf_high_watermark=WAITING_BYTES,
        max_request_body_size=LARGEST_BODY_BYTES,
        ident="meterlog",
    )
    if address is not None and certificate is not None:
        try:
            serve_lan(application, address, port, certificate.context(), access.paired, threads)
        except OSError as error:
            raise _not_usable(port, error) from error
    threading.Thread(target=prepare, args=(application,), daemon=True).start()
    print(f"The page is at http://127.0.0.1:{port}/ (Ctrl-C ends it)", flush=True)
    with contextlib.suppress(KeyboardInterrupt):
        server.run()
    return 0


def _devices(unpair: str | None) -> int:
    """List the paired devices, less the one that is to be let in no more."""
    from meterlog_dashboard.gate.devices import Devices

    devices = Devices(data_folder())
    if unpair is not None:
        devices.remove(unpair)
    for one in devices.all():
        print(f"{one.name}: paired on {one.paired_on}, last here on {one.seen_on}")
    if not devices.all():
        print("No device is paired. 'meterlog page --lan' shows the code for one.")
    return 0


def _listen(host: str, port: int) -> socket.socket:
    listening = socket.socket()
    if sys.platform != "win32":
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listening.bind((host, port))
    except OSError as error:
        listening.close()
        raise _not_usable(port, error) from error
    return listening


def _not_usable(port: int, error: OSError) -> UsageError:
    return UsageError(f"port {port} cannot be used ({error.strerror}): choose another with --port")


def _own_address() -> str:
    """This computer's address in the local network; no packet is sent for it."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("10.255.255.255", 1))
        except OSError as error:
            raise UsageError("--lan needs a network, and this computer is in none") from error
        return str(probe.getsockname()[0])


def _show_code(code: str, lan: Lan | None) -> None:
    import segno

    if lan is None:
        return
    segno.make(f"{lan.address}/pair?code={code}", error="m").terminal(compact=True)
    print(f"On the phone open {lan.address}/ and type the code {code[:4]} {code[4:]}, or scan the square.")
    print("The code pairs one device; then the next code is shown. 'meterlog page --devices' lists the paired ones.")
    print("The connection is encrypted with a certificate made on this computer, so the phone's browser warns once.")
    print(f"Go on only if it shows this SHA-256 fingerprint: {lan.fingerprint}", flush=True)
