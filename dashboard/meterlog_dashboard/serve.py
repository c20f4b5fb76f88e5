"""Live capture and review in a browser. The page listens on this computer only, unless --lan is given."""

from __future__ import annotations

import argparse
import contextlib
import logging
import socket
import sys
from pathlib import Path

from meterlog.errors import UsageError

EXAMPLE = "meterlog page --port 8050 ./sessions"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    parser.add_argument("folder", nargs="?", default=".", type=Path, help="where the sessions are (default: here)")
    parser.add_argument("--port", type=int, default=8050, help="the port to listen on (default: 8050; 0: a free one)")
    parser.add_argument(
        "--lan", action="store_true", help="let a phone in the same network in, with the one-time code shown here"
    )


def run(args: argparse.Namespace) -> int:
    """Serve until Ctrl-C."""
    if not args.folder.is_dir():
        raise UsageError(f"there is no folder '{args.folder}'")
    if not 0 <= args.port <= 65535:
        raise UsageError(f"--port must be from 0 to 65535, not {args.port}")
    from meterlog_dashboard.gate.access import LOOPBACK, Access

    address = _own_address() if args.lan else None
    hosts = [*LOOPBACK, *([address] if address else [])]
    listening = _listen("127.0.0.1", args.port)
    port = int(listening.getsockname()[1])
    access = Access(hosts, port, args.lan, lambda code: _show_code(code, address, port))
    from waitress.server import create_server

    from meterlog_dashboard.frame.app import build
    from meterlog_dashboard.gate.lan_server import THREADS, serve_lan

    application = build(args.folder, access).server
    # A browser that opens a page asks for many files at once: that they wait a moment is no news for the terminal.
    logging.getLogger("waitress.queue").setLevel(logging.ERROR)
    server = create_server(application, sockets=[listening], threads=THREADS, ident="meterlog")
    if address is not None:
        try:
            serve_lan(application, address, port, access.paired)
        except OSError as error:
            raise _not_usable(port, error) from error
    print(f"The page is at http://127.0.0.1:{port}/ (Ctrl-C ends it)", flush=True)
    with contextlib.suppress(KeyboardInterrupt):
        server.run()
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


def _show_code(code: str, address: str | None, port: int) -> None:
    import segno

    url = f"http://{address}:{port}/pair?code={code}"
    segno.make(url, error="m").terminal(compact=True)
    print(f"On the phone open http://{address}:{port}/ and type the code {code[:4]} {code[4:]}, or scan the square.")
    print("The code pairs one device; then the next code is shown.")
    print("The connection is not encrypted: use it only in your own network.", flush=True)
