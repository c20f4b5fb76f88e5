"""Show and correct what was entered about a session: its details, and its channels' labels, test points and
roles (what a channel measures: supply, drop, ...).

Give a channel by the number that this command shows. --set KEY= (nothing after it) removes a detail. Readings are
never changed. While a session is being recorded only its details can be corrected.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator, Sequence
from pathlib import Path

from meterlog.cli.options.details_and_roles import add_details, add_roles, by_channel, details, entered_roles
from meterlog.display_check import check_key, conversion_key
from meterlog.errors import UsageError
from meterlog.roles import role_key
from meterlog.session.corrections import correct
from meterlog.session.reader import SessionReader, open_reader
from meterlog.text.safe import one_line

EXAMPLE = "meterlog details crank.sqlite --set vehicle='blue van' --label 1='pump feed' --point 1='C12, pin 3'"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    parser.add_argument("session", metavar="SESSION", type=Path, help="the session file")
    add_details(parser)
    add_roles(parser)
    for option, what in (("--label", "channel N's label"), ("--point", "channel N's test point")):
        parser.add_argument(option, metavar="N=TEXT", action="append", default=[], help=what)


def run(args: argparse.Namespace) -> int:
    """Correct what is to be corrected; show what stands now."""
    labels, points = _texts("--label", args.label), _texts("--point", args.point)
    roles = entered_roles(args.role)
    if args.set or labels or points or roles:
        correct(args.session, {**_details(args.set), **roles}, labels, points)
    with open_reader(args.session) as reader:
        print("\n".join(_lines(reader)))
    return 0


def _texts(option: str, words: Sequence[str]) -> dict[int, str]:
    return by_channel(option, words, "1='pump feed'")


def _details(words: Sequence[str]) -> dict[str, str]:
    """The new details; an empty text for one that is to be removed."""
    removed = [key for key, equals, value in map(_apart, words) if key and equals and not value]
    for key in removed:
        if sum(_apart(word)[0] == key for word in words) > 1:
            raise UsageError(f"--set gives '{key}' twice")
    return {**details(word for word in words if _apart(word)[0] not in removed), **dict.fromkeys(removed, "")}


def _apart(word: str) -> tuple[str, str, str]:
    key, equals, value = word.partition("=")
    return key.strip(), equals, value.strip()


def _lines(reader: SessionReader) -> Iterator[str]:
    yield one_line(str(reader.path))
    roles = {key(channel.number) for channel in reader.channels for key in (role_key, check_key, conversion_key)}
    for key, value in reader.details.items():
        if key in roles:  # said with its channel
            continue
        yield f"  {one_line(key)}: {one_line(value)}"
    for channel in reader.channels:
        at = f" at {one_line(channel.place)}" if channel.point else ""
        name = f"channel {channel.number}: {one_line(channel.label)} ({channel.quantity.words}){at}"
        yield f"  {name}: {channel.measurand.described}{f', {channel.meter_notes}' if channel.meter_notes else ''}"
