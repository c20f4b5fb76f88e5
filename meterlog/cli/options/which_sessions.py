"""The option that chooses sessions by what is known of them, alike in every command that takes many."""

from __future__ import annotations

import argparse


def add_where(parser: argparse.ArgumentParser, of: str = "") -> None:
    """Declare `--where`; `meterlog.fleet.asking.where.where_of` reads it.

    Args:
        parser: of the command.
        of: whose sessions, where it is not said by the command's argument.
    """
    words = (
        f"{of}only sessions of which this is so, as vehicle='van 7', 'temperature_c<5', 'day>=2026-03-15'; repeatable"
    )
    parser.add_argument("--where", metavar="KEY=VALUE", action="append", default=[], help=words)
