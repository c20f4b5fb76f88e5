"""The sweep of a fuse box: what each fuse carries, what all carry together, and what the battery gives."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterator, Sequence
from typing import NamedTuple

from meterlog.fuses.fuse_table import Fuse
from meterlog.text.figures import seconds, shown


class Current(NamedTuple):
    """A current and what it may be off, A."""

    amperes: float
    error_a: float

    @property
    def words(self) -> str:
        """For a person; where the error is larger than the current, the most that it can be."""
        if abs(self.amperes) <= self.error_a:
            return f"less than {shown(abs(self.amperes) + self.error_a, 'A', digits=2)}"
        return shown(self.amperes, "A", self.error_a)


class Drop(NamedTuple):
    """Holds what was read across one fuse.

    Attributes:
        place: the fuse's name in its box.
        fuse: its kind.
        volts, error_v: across it.
        since_s: how long the key had been off, s.
    """

    place: str
    fuse: Fuse
    volts: float
    error_v: float
    since_s: float

    @property
    def current(self) -> Current:
        """Return what it carries; which way does not matter, as probes are put on either way round."""
        return Current(*self.fuse.current(abs(self.volts), self.error_v))


def last_of_each(drops: Sequence[Drop]) -> list[Drop]:
    """The last reading of each fuse, the largest current first."""
    each = {drop.place.casefold(): drop for drop in drops}
    return sorted(each.values(), key=lambda drop: -drop.current.amperes)


def total(drops: Sequence[Drop]) -> Current:
    """Return what all fuses carry together.

    Errors of the fuses add up, for those of one box may all be of one make; those of single displays add in squares.
    """
    each = last_of_each(drops)
    displays = [drop.error_v / drop.fuse.ohm for drop in each]
    fuses = sum(drop.current.error_a - display for drop, display in zip(each, displays, strict=True))
    return Current(sum(drop.current.amperes for drop in each), fuses + math.hypot(*displays))


def against_battery(fuses: Current, battery: Current) -> str:
    """Compare the sum of the fuses with the current at the battery, in a sentence."""
    both = f"the fuses carry {fuses.words} together, the battery gives {battery.words}"
    missing, error_a = abs(battery.amperes) - fuses.amperes, battery.error_a + fuses.error_a
    if missing > error_a:
        return (
            f"{both}: at least {shown(missing - error_a, 'A', digits=2)} flows past the fuses that were measured:"
            " through others, or through what has none, such as the alternator and the starter"
        )
    if missing < -error_a:
        return (
            f"{both}, which is less: a main fuse and those behind it were both counted, or something fell asleep"
            " meanwhile; measure the largest again"
        )
    return f"{both}: within their errors the same, so nothing is missing"


def suspects(drops: Sequence[Drop], most_a: float) -> str:
    """Name the fuses that carry more than all may draw together, or say that none surely does.

    Args:
        drops: what was read.
        most_a: the most that all may draw together once asleep, A.
    """
    surely = [drop for drop in last_of_each(drops) if drop.current.amperes - drop.current.error_a > most_a]
    if surely:
        names = " and ".join(f"{drop.place} ({drop.current.words})" for drop in surely)
        return f"more than the {shown(most_a, 'A')} that all may draw together flows through {names}"
    return f"no fuse surely carries more than the {shown(most_a, 'A')} that all may draw together"


def table(drops: Sequence[Drop], asleep_s: float) -> Iterator[str]:
    """The fuses, the largest current first, as lines; those read before all had to be asleep have a mark."""
    rows = [(d.place, d.fuse.name, shown(d.volts, "V", d.error_v), d.current.words, d) for d in last_of_each(drops)]
    widths = [max(len(row[n]) for row in rows) for n in range(4)]
    for *texts, drop in rows:
        cells = "  ".join(f"{text:<{width}}" for text, width in zip(texts, widths, strict=True))
        awake = ", perhaps not asleep yet" if drop.since_s < asleep_s else ""
        yield f"{cells}  {seconds(int(drop.since_s))} after key-off{awake}"


def as_csv(drops: Sequence[Drop]) -> str:
    """Every reading as a table, in the order in which they were taken."""
    text = io.StringIO()
    rows = csv.writer(text, lineterminator="\n")
    known = ("ohm", "ohm_spread_pct", "ohm_from")
    rows.writerow(["place", "fuse", *known, "volts", "error_v", "amperes", "error_a", "since_key_off_s"])
    for drop in drops:
        fuse = drop.fuse
        ohm = (f"{fuse.ohm:.6g}", f"{100 * fuse.spread:g}", fuse.known_by)
        figures = (drop.volts, drop.error_v, *drop.current, drop.since_s)
        rows.writerow([drop.place, fuse.name, *ohm, *(f"{figure:.6g}" for figure in figures)])
    return text.getvalue()
