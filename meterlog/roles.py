"""Says what a channel measures: worked out once, from its test point, what a person entered, and plain words.

In this order: the test point where it is a circuit's (`fuse_out`, `battery_plus to plug_feed`, a part's own name), the
role that was entered, the words of label and point, the quantity. Where none of them says it, the channel is not
judged.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from functools import lru_cache

from meterlog.reading import Quantity


class Role(StrEnum):
    """The role of a channel's readings. The spelling is part of `analyze --json` and of `--role`."""

    SUPPLY = "supply"
    DROP = "drop"
    CURRENT = "current"
    RESISTANCE = "resistance"
    CONTROL = "control"
    OTHER = "other"

    @property
    def words(self) -> str:
        """As a person says it."""
        return _WORDS[self]


_WORDS = {
    Role.SUPPLY: "supply",
    Role.DROP: "drop across a part",
    Role.CURRENT: "current",
    Role.RESISTANCE: "resistance",
    Role.CONTROL: "control signal",
    Role.OTHER: "not judged",
}

_ROLES_OF = {
    Quantity.DC_VOLTAGE: (Role.SUPPLY, Role.DROP, Role.CONTROL),
    Quantity.AC_VOLTAGE: (Role.SUPPLY,),
    Quantity.DC_CURRENT: (Role.CURRENT,),
    Quantity.AC_CURRENT: (Role.CURRENT,),
    Quantity.RESISTANCE: (Role.RESISTANCE,),
    Quantity.CONTINUITY: (Role.RESISTANCE,),
}
"""The roles that a quantity can have, beside `other`; where there is one, the quantity itself says it."""

_GROUND_SIDE = re.compile(
    r"(.*_)?(ground|gnd|earth|minus|negative|return|body|chassis|engine|bolt|eyelet|case)(_.*)?|-", re.IGNORECASE
)
_LOAD = re.compile(
    r"(.*_)?(pump|motor|lamp|solenoid|starter|blower|heater|battery|alternator|generator|horn|plugs|rail)",
    re.IGNORECASE,
)
_PART = re.compile(
    r"(.*_)?(fuse|relay|switch|link|resistor|wire|cable|splice|pin|clamp|terminal|bolt|strap|(?<!socket_)contact)",
    re.IGNORECASE,
)
_COMMAND = re.compile(r"(.*_)?(coil|command|control)", re.IGNORECASE)
_A_POINT = re.compile(r".*_.*|(battery|fuse|relay|switch|alternator).*", re.IGNORECASE)

_ACROSS = re.compile(
    r"\b(drop|loss|across)|(?<!\S)[^\s:]+:[^\W\d_][^\s:/\\]*(?!\S)|\b(ground|earth)", re.IGNORECASE
)  # `a3:b7` is from one place to the other; a port's number and the colons of an address are not
_SIGNAL = re.compile(r"\b(coil|command|control|trigger|signal)\b", re.IGNORECASE)
_SUPPLY = re.compile(
    r"\b(supply|supplied|feed|fed|battery|batt|power|source|prime|pumps?|motor|lamps?|plug|ignition|alternator|generator"
    r"|charging|starter|crank(ing)?|solenoid|relay out|fuse out|plus|positive|vbat|ubat"
    r"|(kl\.?|terminal) ?(15|30|50|87))\b|\bb\+",
    re.IGNORECASE,
)
_FOREIGN = re.compile(
    r"\b(solar|photovoltaic|usb|traction|drive (motor|battery)|inverter|mains|high[- ]voltage|hv|e-?bike|cycle|scooter"
    r"|wind|grid)\b",
    re.IGNORECASE,
)
"""Says what is no part of a vehicle's 6, 12 or 24 V, though 'battery', 'motor' or 'panel' stands beside it."""
_AT_LOAD = re.compile(
    r"\bacross (the )?((fuel|wiper|washer|head|tail|stop) ?)?(pump|motor|lamp|bulb|battery|blower|heater|load)\s*$",
    re.IGNORECASE,
)
"""Across a load, and not a part on the way to it: that is what the load is supplied with."""
_RIPPLE = re.compile(r"\b(battery|batt\b|alternator|generator|ripple)|\bb\+", re.IGNORECASE)
_BATTERY = re.compile(r"\b(battery|batt|b\+)(?!\w)", re.IGNORECASE)

_KEPT = 1_000
"""So many answers are kept: an analysis asks some eighty times about three channels, and a fleet names its channels
alike. A choice."""


@dataclass(frozen=True, slots=True)
class Measurand:
    """A channel's measurand: its role, and what says so.

    Attributes:
        role: what its readings stand for.
        said_by: `point`, `entered`, `words`, `quantity`, `system` of what is of no known system, or empty where nothing
            says it.
        text: its label and test point, for what is judged by the place.
    """

    role: Role
    said_by: str
    text: str = ""

    def names(self, *words: str) -> bool:
        """Tell whether the label or the test point holds one of these words."""
        text = self.text.casefold()
        return any(re.search(rf"\b{re.escape(word)}", text) for word in words)

    @property
    def is_battery(self) -> bool:
        """Tell whether it is the battery itself, and not a drop from it."""
        return bool(_BATTERY.search(self.text)) and not self.names("drop", "ground", "across")

    @property
    def described(self) -> str:
        """The role and what says so, for a summary: `supply (by its label)`."""
        by = {
            "point": "by its test point",
            "entered": "as entered",
            "words": "by its words",
            "system": "no limits",
        }.get(self.said_by)
        return f"{self.role.words} ({by})" if by else self.role.words


@lru_cache(_KEPT)
def measurand(
    quantity: Quantity, label: str = "", point: str = "", entered: str = "", *, foreign: bool = False
) -> Measurand:
    """Return what a channel measures.

    Args:
        quantity: the channel's.
        label: what the person calls it.
        point: its test point, as typed.
        entered: the role that a person entered; empty where none was.
        foreign: whether it is known to be of none of the systems that there are limits for.
    """
    text = f"{label} {point}"
    possible = _ROLES_OF.get(quantity, ())
    if foreign and possible:
        return Measurand(Role.OTHER, "system", text)
    if len(possible) == 1 and quantity is not Quantity.AC_VOLTAGE:
        return Measurand(Role.OTHER if entered == Role.OTHER else possible[0], "quantity", text)
    if not possible:
        return Measurand(Role.OTHER, "quantity", text)
    if quantity is Quantity.DC_VOLTAGE and (by_point := _of_point(point)):
        return Measurand(by_point, "point", text)
    if entered in possible or entered == Role.OTHER:
        return Measurand(Role(entered), "entered", text)
    by_words = _of_words(quantity, label, point)
    return Measurand(by_words, "words", text) if by_words else Measurand(Role.OTHER, "", text)


def roles_of(quantity: Quantity) -> tuple[Role, ...]:
    """The roles that channels of a quantity can have, beside `other`."""
    return _ROLES_OF.get(quantity, ())


def entered_role(details: Mapping[str, str], channel: int) -> str:
    """The role that was entered for a channel, by its number; '' where none was.

    It is kept among the session's details, so that it can be corrected in any session, old, finished or growing.
    """
    return details.get(role_key(channel), "")


def role_key(channel: int) -> str:
    """The detail that holds a channel's role."""
    return f"role {channel}"


def check_role(role: str, quantity: Quantity) -> str:
    """Say what is wrong with an entered role for this quantity; '' where it is right."""
    possible = [*map(str, _ROLES_OF.get(quantity, ())), str(Role.OTHER)]
    if role in possible or role == "":
        return ""
    return f"a {quantity.words} channel can be {' or '.join(possible)}, not '{role}'"


def _of_point(point: str) -> Role | None:
    """The role by a test point that is written as a circuit's; None where it is not."""
    where = re.split("[,;]", point, maxsplit=1)[0].strip()
    ends = re.split(r"\s+to\s+", where)
    if len(ends) == 2:
        first, second = ends
        if not (_A_POINT.fullmatch(first) or _A_POINT.fullmatch(second)) or " " in where.replace(" to ", ""):
            return None
        grounded = _GROUND_SIDE.fullmatch(second) and not _GROUND_SIDE.fullmatch(first)
        return Role.SUPPLY if grounded else Role.DROP
    if not where or " " in where:
        return None
    if _COMMAND.fullmatch(where):
        return Role.CONTROL
    if _GROUND_SIDE.fullmatch(where) or _PART.fullmatch(where):
        return Role.DROP
    return Role.SUPPLY if _LOAD.fullmatch(where) or "_" in where else None


def _of_words(quantity: Quantity, label: str, point: str) -> Role | None:
    text = f"{label} {point}"
    if quantity is Quantity.AC_VOLTAGE:
        return Role.SUPPLY if _RIPPLE.search(text) else None
    if _FOREIGN.search(text):
        return None
    if _AT_LOAD.search(label.strip()) or _AT_LOAD.search(point.strip()):
        return Role.SUPPLY
    if _ACROSS.search(label) or _ACROSS.search(point):
        return Role.DROP
    if _SIGNAL.search(text):
        return Role.CONTROL
    return Role.SUPPLY if _SUPPLY.search(text) else None
