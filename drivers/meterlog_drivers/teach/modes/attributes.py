"""Lists what a display says beside its digits, as attributes that a frame's bits must tell, and as words of a
profile."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence

from meterlog.reading import Quantity
from meterlog.text.units import PREFIXES
from meterlog_drivers.teach.moments import UNITS, Label

Value = object
Attributes = Mapping[str, Value]
"""By name; None where what was typed does not tell: the point of an overload, the sign of zero."""

_PREFIX = {power: prefix for prefix, power in PREFIXES.items()}


def attributes_of(label: Label, *, power: bool, signed: bool, over: bool) -> dict[str, Value]:
    """List what a label says.

    Args:
        label: what was typed.
        power: one power of ten in place of prefix and point.
        signed: the digits bear the sign already.
        over: overloads show beside the digits, not in them.
    """
    scale: dict[str, Value] = {"prefix": label.prefix, "decimals": None if label.overload else label.decimals}
    if power:
        scale = {"power": None if label.overload else label.prefix - label.decimals}
    found: dict[str, Value] = {"unit": (label.quantity, label.fahrenheit), **scale}
    if over:
        found["overload"] = label.overload
    if not signed:
        found["minus"] = label.minus if label.minus or label.counts else None
    return found | dict.fromkeys(label.words, True)


def with_all_words(rows: Sequence[dict[str, Value]]) -> list[dict[str, Value]]:
    """The same, where a symbol that only some displays show is False in the others."""
    names = {name for row in rows for name in row}
    return [{name: row.get(name, False) for name in sorted(names)} for row in rows]


def same(a: Attributes, b: Attributes, names: Collection[str]) -> bool:
    """Tell whether two displays say the same of these."""
    return all(a[name] == b[name] for name in names)


def contradict(a: Attributes, b: Attributes, names: Collection[str]) -> bool:
    """Tell whether two displays say surely different things of these."""
    return any(a[name] is not None and b[name] is not None and a[name] != b[name] for name in names)


def words_of(said: Attributes, names: Collection[str]) -> set[str]:
    """The profile's words for some attributes of a display."""
    words: set[str] = set()
    for name in names:
        value = said.get(name)
        if name == "unit" and isinstance(value, tuple):
            quantity, fahrenheit = value
            words |= {"degF"} if fahrenheit else set(UNITS[quantity].split())
            if quantity is Quantity.CAPACITANCE and "prefix" not in said:
                words.add("n")  # a farad reading bears a prefix; the power of ten overrules it
        elif name == "prefix" and isinstance(value, int):
            words |= {_PREFIX[value]} - {""}
        elif name == "decimals":
            words.add("unscaled" if value is None else f"point{value}")
        elif name == "power":
            words.add("unscaled" if value is None else f"e{value}")
        elif value is True:
            words.add(name)
    return words
