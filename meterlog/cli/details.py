"""The option --set of `record`, `import` and `details`: what is known about the case."""

from __future__ import annotations

import argparse
from collections.abc import Iterable

from meterlog.details import check_numbers
from meterlog.errors import UsageError


def add_details(parser: argparse.ArgumentParser) -> None:
    """Declare the option."""
    known = "vehicle=, complaint=, point=, system_v=, temperature_c=, ..."
    parser.add_argument("--set", metavar="KEY=VALUE", action="append", default=[], help=f"a detail: {known}")


def details(words: Iterable[str]) -> dict[str, str]:
    """The session's details.

    Raises:
        UsageError: a word has no key, a key comes twice, or what is used as a number is none.
        LimitsError: there are no limits for that system voltage.
    """
    found = {}
    for word in words:
        key, equals, value = word.partition("=")
        if not equals or not key.strip():
            raise UsageError(f"--set wants KEY=VALUE, for example vehicle='blue van', not '{word}'")
        if key.strip() in found:
            raise UsageError(f"--set gives '{key.strip()}' twice")
        found[key.strip()] = value.strip()
    check_numbers(found)
    if "system_v" in found:
        from meterlog.limits import limits_for

        limits_for(found, ())
    return found
