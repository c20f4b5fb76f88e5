"""Restraint and high-voltage circuits are never probed: names that speak of one are refused, of whatever they are."""

from __future__ import annotations

import re

from meterlog.errors import CircuitError

_ANYWHERE = (
    "air ?bag",
    "restraint",
    "pre ?tension",
    "squib",
    "inflator",
    "seat ?belt",
    "belt ?(?:tension|buckle|lock)",
    "occupant",
    "(?:crash|impact) ?sensor",
    "rollover",
    "high ?volt",
    "high ?tension",
    "hybrid",
    "inverter",
    "traction ?(?:battery|motor|cable|pack)",
    "hv ?batter",
    "orange ?cable",
    "dc ?(?:to ?)?dc",
    "charge ?port",
    "on ?board ?charger",
)
_WORDS = (
    "srs",
    "(?:side|head|knee|driver|passenger|curtain) ?bags?",
    "curtains?",
    "tensioners?",
    "buckles?",
    "hv",
    "ev",
    "[bhp]+ev",
    "obc",
    "e ?machine",
)
"""On the safe side: a hybrid circuit (a chip) and a drive belt's tensioner are harmless, but a name does not tell, and
a wrong guess the other way fires a squib or kills; the sentence says what to do about it."""

_DANGEROUS = re.compile(rf"\w*(?:{'|'.join(_ANYWHERE)})\w*|\b(?:{'|'.join(_WORDS)})\d*\b")


def danger(words: str) -> str:
    """Say why a name is refused, as the end of a sentence; empty where it is not.

    Makers' manuals forbid probing restraint circuits; cables above 60 V are out of scope.
    """
    plain = re.sub(r"[\W_]+", " ", re.sub(r"(?<=[a-z])(?=[A-Z])", " ", words)).casefold()
    found = _DANGEROUS.search(plain)
    if found is None:
        return ""
    return (
        f"'{words}' looks like a restraint or high-voltage circuit ('{found[0]}'): never probe or load-test"
        " those, follow the vehicle's service information; where it is neither, give it another name"
    )


def refuse_dangerous(words: str, source: str) -> None:
    """Refuse a name that speaks of a restraint or a high-voltage circuit.

    Raises:
        CircuitError: it does.
    """
    if reason := danger(words):
        raise CircuitError(f"{source} {reason}")
