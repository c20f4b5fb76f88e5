"""The options --set and --role of `record`, `import` and `details`: what is known about the case and its channels."""

from __future__ import annotations

import argparse
from collections.abc import Iterable

from meterlog.details import check_numbers
from meterlog.errors import UsageError
from meterlog.roles import Role, role_key


def add_details(parser: argparse.ArgumentParser) -> None:
    """Declare the option."""
    known = "vehicle=, complaint=, point=, system_v=, temperature_c=, ..."
    parser.add_argument("--set", metavar="KEY=VALUE", action="append", default=[], help=f"a detail: {known}")


def add_roles(parser: argparse.ArgumentParser) -> None:
    """Declare the option."""
    parser.add_argument(
        "--role",
        metavar="N=ROLE",
        action="append",
        default=[],
        help=f"what channel N measures, if its test point and label do not say: {', '.join(Role)}",
    )


def entered_roles(words: Iterable[str]) -> dict[str, str]:
    """Return the channels' roles, as details of the session; an empty one removes what was entered.

    Raises:
        UsageError: there is no such role, or the word is none of the form N=ROLE.
    """
    found = by_channel("--role", words, "1=drop")
    for role in found.values():
        if role and role not in tuple(Role):
            raise UsageError(f"--role must be one of {', '.join(Role)}, not '{role}'")
    return {role_key(number): role for number, role in found.items()}


def by_channel(option: str, words: Iterable[str], example: str) -> dict[int, str]:
    """Return the texts of an option of the form N=TEXT, by channel.

    Raises:
        UsageError: a word has no channel's number, or one comes twice.
    """
    found: dict[int, str] = {}
    for word in words:
        number, equals, text = word.partition("=")
        number = number.strip()
        if not equals or not (number.isascii() and number.isdecimal() and len(number) < 10):
            form = option.removeprefix("--").upper() if option == "--role" else "TEXT"
            raise UsageError(f"{option} needs N={form} with a channel's number, for example {example}, not '{word}'")
        if int(number) in found:
            raise UsageError(f"{option} gives channel {int(number)} twice")
        found[int(number)] = text.strip()
    return found


def details(words: Iterable[str]) -> dict[str, str]:
    """Return the session's details.

    Raises:
        UsageError: a word has no key, a key comes twice, or what is used as a number is none.
        LimitsError: there are no limits for that system voltage.
    """
    found = {}
    for word in words:
        key, equals, value = word.partition("=")
        if not equals or not key.strip():
            raise UsageError(f"--set needs KEY=VALUE, for example vehicle='blue van', not '{word}'")
        if key.strip() in found:
            raise UsageError(f"--set gives '{key.strip()}' twice")
        found[key.strip()] = value.strip()
    check_numbers(found)
    if "system_v" in found:
        from meterlog.limits import limits_for

        limits_for(found, ())
    return found
