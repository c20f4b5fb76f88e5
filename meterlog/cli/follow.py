"""Tell a session to other programs, while it is being recorded or afterwards.

Each reading, event, marker and change of a link is one JSON object: a line on standard output, or a message to an
MQTT broker. It reads the session's file, so it can be started, stopped and started again at any time.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from collections.abc import Callable
from pathlib import Path

from meterlog.errors import UsageError
from meterlog.stream.items import Item, SessionItems

EXAMPLE = "meterlog follow key-on.sqlite --to mqtt://localhost/van"

_LOOK_S = 0.1
"""Time between two looks at the file, s: the recorder writes to it about twice a second."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    parser.add_argument("session", metavar="SESSION", type=Path, help="the session file")
    parser.add_argument("--to", metavar="WHERE", default="-", help="-: standard output; or mqtt://HOST/TOPIC")


def run(args: argparse.Namespace) -> int:
    """Do it; the exit status."""
    items = SessionItems(args.session)
    if args.to == "-":
        _follow(items, _print)
        return 0
    if not args.to.startswith(("mqtt://", "mqtts://")):
        raise UsageError(f"--to must be - or mqtt://HOST/TOPIC, not '{args.to}'")
    from meterlog.stream.mqtt import MqttBroker

    with MqttBroker(args.to) as broker:
        _follow(items, broker.tell)
    return 0


def _follow(items: SessionItems, tell: Callable[[Item], None]) -> None:
    while True:
        for item in items.look():
            tell(item)
        if items.over:
            return
        sys.stdout.flush()
        time.sleep(_LOOK_S)


def _print(item: Item) -> None:
    print(json.dumps(item, ensure_ascii=False, allow_nan=False))
