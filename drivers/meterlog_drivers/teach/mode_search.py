"""Finds which bits of a frame say unit, point, sign and symbols, and which say nothing.

Two displays that differ in one thing only, say the sign, tell which bits can say it: those in which their frames
differ. Bits that differ where the displays were alike say nothing. What is left over belongs to the unit. Bits that
two things need are read together, and then only in combinations that were seen: a code that was never taught is not
read. That the point does not depend on the unit is believed once it was confirmed several times, never before.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import NamedTuple

import numpy as np

from meterlog_drivers.teach.attributes import (
    Attributes,
    attributes_of,
    contradict,
    same,
    with_all_words,
    words_of,
)
from meterlog_drivers.teach.moments import Label
from meterlog_drivers.teach.number_search import Bits

CONFIRMATIONS = 3
"""Times that the point, or a prefix, was where the same code had put it with another unit, until that is believed: by
chance each is so in a third of cases (guess), all three in 4 %."""


class Meaning(NamedTuple):
    """What one combination of a field's bits says."""

    words: frozenset[str]
    moments: tuple[int, ...]


@dataclass(frozen=True)
class Field:
    """Bits that are read together.

    Attributes:
        says: the attributes.
        bits: where, in order.
        values: by their values, what they say and by which moments that is known.
    """

    says: tuple[str, ...]
    bits: tuple[int, ...]
    values: dict[tuple[bool, ...], Meaning]


@dataclass(frozen=True)
class ModeFit:
    """All that a frame says beside its digits.

    Attributes:
        fields: what is read.
        steady: bits that never changed, and their value.
        silent: bits that changed while the display said the same.
        moments: which moments agree with that.
        slips: which contradict it.
    """

    fields: tuple[Field, ...]
    steady: dict[int, bool]
    silent: frozenset[int]
    moments: tuple[int, ...]
    slips: tuple[int, ...]

    def known(self, frame: Bits) -> bool:
        """Tell whether all that a frame says beside its digits was taught."""
        return all(frame[bit] == value for bit, value in self.steady.items()) and all(
            key_of(frame, field.bits) in field.values for field in self.fields
        )


class _Row(NamedTuple):
    said: Attributes
    frame: Bits
    moment: int


def key_of(frame: Bits, bits: Iterable[int]) -> tuple[bool, ...]:
    """The values of some bits."""
    return tuple(bool(frame[bit]) for bit in bits)


def find_modes(
    labels: Sequence[Label], bits: Bits, alike: Sequence[tuple[int, Bits]], ours: Collection[int], *, signed: bool
) -> ModeFit | None:
    """Find the fields.

    Args:
        labels: what was shown.
        bits: the frame of each.
        alike: further frames of the same displays, with the moment's number.
        ours: bits that are the mode's to say: not digits, marks or checksum.
        signed: the digits bear the sign already.

    Returns:
        What was found; None where what was typed contradicts itself beyond two moments.
    """
    fits = [_with_slips(labels, bits, alike, sorted(ours), power, signed) for power in (False, True)]
    plain, powers = fits
    if plain is None or powers is None:
        return plain or powers
    if len(powers.slips) != len(plain.slips):
        return min(plain, powers, key=lambda fit: len(fit.slips))
    together = any("unit" in field.says and "decimals" in field.says for field in plain.fields)
    apart = any("power" in field.says and "unit" not in field.says for field in powers.fields)
    return powers if together and apart else plain


def _with_slips(
    labels: Sequence[Label],
    bits: Bits,
    alike: Sequence[tuple[int, Bits]],
    ours: Sequence[int],
    power: bool,
    signed: bool,
) -> ModeFit | None:
    """Find the fields, leaving out as few moments as possible, two at the most."""
    said = with_all_words([attributes_of(label, power=power, signed=signed) for label in labels])
    rows = [_Row(one, bits[n], n) for n, one in enumerate(said)]
    more = [_Row(said[n], frame, n) for n, frame in alike]
    for count in range(3):
        fitting = []
        for left_out in combinations(range(len(rows)), count):
            kept = [row for row in rows if row.moment not in left_out]
            twins = [row for row in more if row.moment not in left_out]
            silent = _silent(kept, twins, ours)
            if kept and not _contradiction(kept, [b for b in ours if b not in silent]):
                fitting.append((left_out, silent))
        if fitting:
            # where any of several moments may be the wrong one, none of them is believed
            slips = tuple(sorted({n for left_out, _ in fitting for n in left_out}))
            kept = [row for row in rows if row.moment not in slips]
            twins = [row for row in more if row.moment not in slips]
            return _fields(kept, _silent(kept, twins, ours), ours, slips) if kept else None
        if count == 1 and len(rows) > 40:
            break
    return None


def _differing(a: Bits, b: Bits, ours: Iterable[int]) -> set[int]:
    return {bit for bit in ours if a[bit] != b[bit]}


def _silent(rows: Sequence[_Row], twins: Sequence[_Row], ours: Sequence[int]) -> frozenset[int]:
    """Bits that differ between frames whose displays said the same; an overload does not say where its point is."""
    found: set[int] = set()
    first: dict[tuple[tuple[str, object], ...], Bits] = {}
    for row in (*rows, *twins):
        if None in row.said.values():
            continue
        before = first.setdefault(tuple(sorted(row.said.items(), key=lambda item: item[0])), row.frame)
        found |= _differing(before, row.frame, ours)
    return frozenset(found)


def _contradiction(rows: Sequence[_Row], ours: Sequence[int], names: Collection[str] | None = None) -> bool:
    """Tell whether frames with the same bits are said to show different things."""
    seen: dict[tuple[bool, ...], list[_Row]] = {}
    for row in rows:
        for other in seen.setdefault(key_of(row.frame, ours), []):
            if contradict(row.said, other.said, names or [n for n in row.said if n != "overload"]):
                return True
        seen[key_of(row.frame, ours)].append(row)
    return False


def _fields(rows: Sequence[_Row], silent: frozenset[int], ours: Sequence[int], slips: tuple[int, ...]) -> ModeFit:
    frames = np.array([row.frame for row in rows])
    changing = [bit for bit in ours if bit not in silent and frames[:, bit].any() != frames[:, bit].all()]
    steady = {
        bit: bool(frames[0, bit]) for bit in ours if bit not in silent and frames[:, bit].any() == frames[:, bit].all()
    }
    names = list(rows[0].said)
    varied = [name for name in names if len({row.said[name] for row in rows} - {None}) > 1]
    groups = _groups(rows, changing, varied)
    always = [name for name in names if name not in varied]
    if not groups:
        bit = next(iter(steady), 0)
        groups = [((), (bit,))]
    said_first, bits_first = groups[0]
    groups[0] = ((*said_first, *always), bits_first)
    fields = tuple(_field(rows, says, bits) for says, bits in groups)
    return ModeFit(fields, steady, silent, tuple(row.moment for row in rows), slips)


Group = tuple[tuple[str, ...], tuple[int, ...]]


def _groups(rows: Sequence[_Row], changing: Sequence[int], varied: Sequence[str]) -> list[Group]:
    """Share the changing bits out among what they say; the unit first."""
    if not changing:
        return []
    parts: list[tuple[set[str], set[int]]] = []
    for name in varied:
        bits = _overload_bits(rows, changing) if name == "overload" else _bits_of(name, rows, changing)
        if bits:
            parts.append(({name}, bits))
    unit: tuple[set[str], set[int]] = ({"unit"}, set())
    for part in [part for part in parts if "unit" in part[0]]:
        unit[1].update(part[1])
    parts = [part for part in parts if "unit" not in part[0]]
    told = {name for part in parts for name in part[0]}
    unit[0].update(name for name in varied if name not in told and name != "overload")
    unit[1].update(set(changing) - {bit for part in parts for bit in part[1]})
    parts = _merged([unit, *parts])
    while True:
        wrong = next((part for part in parts if _unsure(part, rows)), None)
        if wrong is None or len(parts) == 1:
            break
        others = [part for part in parts if part is not wrong]
        joined = next((part for part in others if "unit" in part[0]), others[0])
        parts = _merged([(wrong[0] | joined[0], wrong[1] | joined[1]), *(p for p in others if p is not joined)])
    parts.sort(key=lambda part: "unit" not in part[0])
    return [(tuple(sorted(says)), tuple(sorted(bits))) for says, bits in parts if bits]


def _bits_of(name: str, rows: Sequence[_Row], changing: Sequence[int]) -> set[int]:
    """The bits in which frames differ whose displays differ in one thing only."""
    found: set[int] = set()
    for a, b in combinations(rows, 2):
        others = [other for other in a.said if other != name]
        if contradict(a.said, b.said, (name,)) and same(a.said, b.said, others):
            found |= _differing(a.frame, b.frame, changing)
    return found


def _overload_bits(rows: Sequence[_Row], changing: Sequence[int]) -> set[int]:
    """The bits that are one way with every overload, and the other way with every number."""
    over = np.array([row.frame for row in rows if row.said["overload"]])
    number = np.array([row.frame for row in rows if not row.said["overload"]])
    return {
        bit
        for bit in changing
        if over[:, bit].all() == over[:, bit].any()
        and number[:, bit].all() == number[:, bit].any()
        and over[0, bit] != number[0, bit]
    }


def _merged(parts: Sequence[tuple[set[str], set[int]]]) -> list[tuple[set[str], set[int]]]:
    """Join what needs the same bits."""
    found: list[tuple[set[str], set[int]]] = []
    for says, bits in parts:
        touching = [part for part in found if part[1] & bits]
        for part in touching:
            says, bits = says | part[0], bits | part[1]
        found = [part for part in found if part not in touching] + [(says, bits)]
    return found


def _unsure(part: tuple[set[str], set[int]], rows: Sequence[_Row]) -> bool:
    """Tell whether a part does not tell what it should by itself, or was not confirmed with other units."""
    says, bits = part
    order = sorted(bits)
    if not bits or _contradiction(rows, order, says):
        return True
    if "unit" in says or not says & {"prefix", "decimals", "power"}:
        return False
    numbers = [row for row in rows if not row.said["overload"]]
    contexts = {(key_of(row.frame, order), row.said["unit"], row.said.get("prefix")) for row in numbers}
    return len(contexts) - len({context[0] for context in contexts}) < CONFIRMATIONS


def _field(rows: Sequence[_Row], says: tuple[str, ...], bits: tuple[int, ...]) -> Field:
    """The meanings of a field's values; where only overloads were seen, no number is read."""
    together: dict[tuple[bool, ...], list[_Row]] = {}
    for row in rows:
        together.setdefault(key_of(row.frame, bits), []).append(row)
    values = {}
    for key, same_key in together.items():
        said: dict[str, object] = {}
        for name in says:
            known = [row.said[name] for row in same_key if row.said[name] is not None]
            said[name] = known[0] if known else None
        values[key] = Meaning(frozenset(words_of(said, says)), tuple(row.moment for row in same_key))
    return Field(says, bits, values)
