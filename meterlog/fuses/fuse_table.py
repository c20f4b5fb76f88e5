"""The resistance of a fuse by its size and rating, from the table, or as a person typed it.

`mini-10A` and `blade-7.5A` are in `fuses.toml`; `7.4mohm` is a fuse whose resistance is known.
"""

from __future__ import annotations

import re
from functools import cache
from importlib.resources import files
from typing import Any, NamedTuple

from meterlog.errors import UsageError, did_you_mean
from meterlog.text.toml import parse_toml
from meterlog.text.typed import typed_amount

LEAST_OHM, MOST_OHM = 1e-4, 1.0
"""Says what a fuse of a vehicle may have, ohm: 0.4 mohm have fuses of 100 A, some 150 mohm those of 1 A (guesses)."""
_OHMS = re.compile(r"[\d.,]+\s*[mu]?\s*(?:ohms?|Ohms?|OHMS?|\u03a9|\u2126)")
_RATING = re.compile(r"(?:(?P<size>[a-z]+)[- ]?)?(?P<rated>\d+(?:[.,]\d+)?) ?a?")


class Fuse(NamedTuple):
    """Holds what the current through a fuse is reckoned with.

    Attributes:
        name: as in the table, `mini-10A`, or as typed, `7.4mohm`.
        ohm: its cold resistance.
        spread: a share by which that may be off, either way; 0 for one that was typed.
        rated_a: its rated current, A; None where that was not said.
        heated: at its rated current its resistance is up to so many times the cold one.
    """

    name: str
    ohm: float
    spread: float = 0.0
    rated_a: float | None = None
    heated: float = 1.0

    @property
    def words(self) -> str:
        """Name and resistance, for a person; nobody has checked the table's figures."""
        if self.rated_a is None:
            return f"{1000 * self.ohm:g} mohm"
        return f"{self.name}, {1000 * self.ohm:g} mohm +-{100 * self.spread:g} % cold, unverified"

    @property
    def known_by(self) -> str:
        """Say where its resistance is from, for a table."""
        return "typed" if self.rated_a is None else "table, unverified"

    @property
    def error_share(self) -> float:
        """The share by which a current may be off because the resistance is: most where that is least."""
        return 1.0 / (1.0 - self.spread) - 1.0

    def current(self, volts: float, error_v: float) -> tuple[float, float]:
        """The current through it and its error, A, from the voltage across it and the error of that, V.

        Cold is assumed. What it carries heats it, as the square of the current (a guess): then less flows than that,
        which the error holds.
        """
        amperes = volts / self.ohm
        load = abs(amperes) / self.rated_a if self.rated_a else 0.0
        hot = 1.0 + (self.heated - 1.0) * min(load, 1.0) ** 2
        return amperes, abs(amperes) * (self.error_share + 1.0 - 1.0 / hot) + error_v / self.ohm


def fuse_named(text: str) -> Fuse:
    """The fuse that a person names: `mini-10A`, `10A`, or its resistance, `7.4 mohm`.

    Raises:
        UsageError: there is none in the table, with the nearest; or no fuse has such a resistance.
    """
    word = text.strip()
    if _OHMS.fullmatch(word):
        ohm, _ = typed_amount(word)
        if not LEAST_OHM <= ohm <= MOST_OHM:
            raise UsageError(f"a fuse has {1000 * LEAST_OHM:g} to {1000 * MOST_OHM:g} mohm, not '{word}'")
        return Fuse(word, ohm)
    match = _RATING.fullmatch(word.lower())
    if match:
        rated = f"{float(match['rated'].replace(',', '.')):g}"
        wanted = f"{match['size'] or _sizes()[-1]}-{rated}A"
        if wanted in fuse_names():
            return fuse_names()[wanted]
    ratings = ", ".join(_table()["milliohm"])
    raise UsageError(
        f"'{word}' is no fuse of the table{did_you_mean(word, fuse_names())}: it has {' and '.join(_sizes())} fuses of"
        f" {ratings} A; or say its resistance, for example 7.4mohm"
    )


def fuse_source() -> str:
    """Where the table's figures come from."""
    source: str = _table()["source"]
    return source


@cache
def fuse_names() -> dict[str, Fuse]:
    """Every fuse of the table by its name."""
    values = _table()
    found = {}
    for size in _sizes():
        for rated, milliohm in values["milliohm"].items():
            name = f"{size}-{rated}A"
            found[name] = Fuse(name, milliohm / 1000, values["spread_pct"] / 100, float(rated), values["heated"])
    return found


def _sizes() -> list[str]:
    sizes: list[str] = _table()["sizes"]
    return sizes


@cache
def _table() -> dict[str, Any]:
    text = files("meterlog.fuses").joinpath("fuses.toml").read_bytes()
    return dict(parse_toml(text, "fuses.toml", UsageError).values)
