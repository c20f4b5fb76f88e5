"""Finds which bits of a frame say unit, point, sign and symbols, and which say nothing.

What is either on or off, the sign or an overload, is told by bits that follow it in every frame. The point is told by
neighbouring bits, or by one bit for each place, once it was confirmed with several units that it does not depend on
them. Bits that differ where displays were alike in all else say nothing. What is left over says the rest, together,
and only in combinations that were seen: a code that was never taught is not read.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from typing import NamedTuple

import numpy as np

from meterlog_drivers.teach.digits.number_fit import Bits
from meterlog_drivers.teach.modes.attributes import (
    Attributes,
    attributes_of,
    contradict,
    same,
    with_all_words,
    words_of,
)
from meterlog_drivers.teach.moments import Label

CONFIRMATIONS = 5
"""Times that the point was where the same code had put it with another unit, until that is believed: by chance each is
so in a third of cases (guess), all five in 0.4 %, and about ten sets of bits are tried."""
TWICE = 2
"""So often a bit must be either way while the display says the same, until it says nothing: once is damage, or a
minus that was not typed."""


RESTLESS = 4
"""Bits of a byte that say nothing, from which on the others that change say nothing either: a counter, a checksum."""


class Meaning(NamedTuple):
    """Holds what one combination of a field's bits says."""

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
        doubted: which alone differ from others that said the same; nothing is learned from them.
    """

    fields: tuple[Field, ...]
    steady: dict[int, bool]
    silent: frozenset[int]
    moments: tuple[int, ...]
    slips: tuple[int, ...]
    doubted: tuple[int, ...] = ()

    def known(self, frame: Bits) -> bool:
        """Tell whether all that a frame says beside its digits was taught."""
        return all(frame[bit] == value for bit, value in self.steady.items()) and all(
            key_of(frame, field.bits) in field.values for field in self.fields
        )


class _Row(NamedTuple):
    said: Attributes
    frame: Bits
    moment: int
    over: bool
    counts: int


def key_of(frame: Bits, bits: Iterable[int]) -> tuple[bool, ...]:
    """The values of some bits."""
    return tuple(bool(frame[bit]) for bit in bits)


def find_modes(
    labels: Sequence[Label],
    bits: Bits,
    alike: Sequence[tuple[int, Bits]],
    ours: Collection[int],
    *,
    signed: bool,
    over: bool,
) -> ModeFit | None:
    """Find the fields.

    Args:
        labels: what was shown.
        bits: the frame of each.
        alike: further frames of the same displays, with the moment's number.
        ours: bits that are the mode's to say: not digits, marks or checksum.
        signed: the digits bear the sign already.
        over: overloads show beside the digits, not in them.

    Returns:
        What was found; None where what was typed contradicts itself beyond two moments.
    """
    fits = [_with_slips(labels, bits, alike, sorted(ours), power, signed, over) for power in (False, True)]
    plain, powers = fits
    if plain is None or powers is None:
        return plain or powers
    if len(powers.slips) != len(plain.slips):
        return min(plain, powers, key=lambda fit: len(fit.slips))
    together, apart = (
        ("unit" in f.says) == (s in f.says)
        for fit, s in ((plain, "decimals"), (powers, "power"))
        for f in fit.fields[:1]
    )
    return powers if together and not apart else plain


def _with_slips(
    labels: Sequence[Label],
    bits: Bits,
    alike: Sequence[tuple[int, Bits]],
    ours: Sequence[int],
    power: bool,
    signed: bool,
    over: bool,
) -> ModeFit | None:
    """Find the fields, leaving out as few moments as possible, two at the most."""
    said = with_all_words([attributes_of(label, power=power, signed=signed, over=over) for label in labels])
    rows = [_Row(one, bits[n], n, labels[n].overload, labels[n].counts) for n, one in enumerate(said)]
    more = [_Row(said[n], frame, n, labels[n].overload, labels[n].counts) for n, frame in alike]
    for count in range(3):
        fitting = []
        for left_out in combinations(range(len(rows)), count):
            kept = [row for row in rows if row.moment not in left_out]
            twins = [row for row in more if row.moment not in left_out]
            silent = _silent(kept, twins, ours)
            if kept and not _contradiction(kept, [b for b in ours if b not in silent]):
                fitting.append(left_out)
        if fitting:
            # where any of several moments may be the wrong one, none of them is believed
            slips = tuple(sorted({n for left_out in fitting for n in left_out}))
            kept = [row for row in rows if row.moment not in slips]
            twins = [row for row in more if row.moment not in slips]
            doubted = _odd_ones(kept, [bit for bit in ours if bit not in _silent(kept, twins, ours)])
            kept = [row for row in kept if row.moment not in doubted]
            twins = [row for row in twins if row.moment not in doubted]
            scale = "power" if power else "decimals"
            return replace(_fields(kept, twins, ours, slips, scale), doubted=tuple(sorted(doubted))) if kept else None
        if count == 1 and len(rows) > 40:
            break
    return None


def _differing(a: Bits, b: Bits, ours: Iterable[int]) -> set[int]:
    return {bit for bit in ours if a[bit] != b[bit]}


def _silent(rows: Sequence[_Row], twins: Sequence[_Row], ours: Sequence[int], apart: Collection[str] = ()) -> set[int]:
    """Bits that differ between frames whose displays said the same; an overload does not say where its point is.

    Args:
        rows, twins: the frames of the moments, and further ones of displays that stood still.
        ours: the bits in question.
        apart: attributes with bits of their own, in which the displays may differ.
    """
    fewer: Counter[int] = Counter()
    for group in _saying_the_same(rows, apart):
        ones = np.sum([row.frame for row in group], axis=0)
        fewer.update({bit: min(int(ones[bit]), len(group) - int(ones[bit])) for bit in ours})
    found = {bit for bit, count in fewer.items() if count >= TWICE}
    beside = Counter(bit // 8 for bit in found)
    for bit, count in fewer.items():
        if count and beside[bit // 8] and (beside[bit // 8] >= RESTLESS or _tells_height(rows, bit)):
            found.add(bit)
    by_moment: dict[int, list[Bits]] = {}
    for row in twins:
        by_moment.setdefault(row.moment, []).append(row.frame)
    for frames in by_moment.values():
        ones = np.sum(frames, axis=0)
        # once may be damage
        found |= {bit for bit in ours if TWICE <= ones[bit] <= len(frames) - TWICE}
    return found


def _tells_height(rows: Sequence[_Row], bit: int) -> bool:
    """Tell whether a bit is set for high numbers alone, or for low ones: the upper end of a bar beside the number."""
    heights = {is_set: [row.counts for row in rows if row.frame[bit] == is_set and not row.over] for is_set in (0, 1)}
    low, high = sorted(heights.values(), key=lambda counts: max(counts, default=0))
    return max(low, default=0) <= min(high, default=0)


def _saying_the_same(rows: Sequence[_Row], apart: Collection[str] = ()) -> Collection[list[_Row]]:
    """Group frames by what their displays said, where all of it is known."""
    groups: dict[tuple[tuple[str, object], ...], list[_Row]] = {}
    for row in rows:
        said = tuple((name, value) for name, value in row.said.items() if name not in apart)
        if all(value is not None for _, value in said):
            groups.setdefault(said, []).append(row)
    return groups.values()


def _odd_ones(rows: Sequence[_Row], ours: Sequence[int]) -> set[int]:
    """The moments that alone differ from others that said the same: a minus, perhaps, that was not typed."""
    found: set[int] = set()
    for group in _saying_the_same(rows):
        ones = np.sum([row.frame for row in group], axis=0)
        for bit in ours:
            if 0 < ones[bit] < len(group):
                usual = 2 * ones[bit] > len(group) if 2 * ones[bit] != len(group) else None
                found |= {row.moment for row in group if usual is None or row.frame[bit] != usual}
    return found


def _contradiction(rows: Sequence[_Row], ours: Sequence[int], names: Collection[str] | None = None) -> bool:
    """Tell whether frames with the same bits are said to show different things; an overload may show in the digits."""
    seen: dict[tuple[bool, ...], list[_Row]] = {}
    for row in rows:
        for other in seen.setdefault(key_of(row.frame, ours), []):
            if contradict(row.said, other.said, row.said if names is None else names):
                return True
        seen[key_of(row.frame, ours)].append(row)
    return False


def _fields(
    rows: Sequence[_Row], twins: Sequence[_Row], ours: Sequence[int], slips: tuple[int, ...], scale: str
) -> ModeFit:
    """Share the changing bits out among what they say."""
    frames = np.array([row.frame for row in rows])
    still = {bit for bit in ours if frames[:, bit].any() == frames[:, bit].all()}
    silent = _silent(rows, twins, ours)
    changing = [bit for bit in ours if bit not in still | silent]
    names = list(rows[0].said)
    varied = [name for name in names if len({row.said[name] for row in rows} - {None}) > 1]
    groups: list[Group] = []
    for name in varied:
        bits = _scale_bits(name, rows, changing) if name == scale else _switch_bits(name, rows, changing)
        if name == "overload" and not bits & _not_the_unit(name, rows, changing):
            continue  # a unit's bit, perhaps, that only overloads have shown
        if bits:
            groups.append(((name,), tuple(sorted(bits))))
    apart = {name for says, _ in groups for name in says}
    fields_bits = {bit for _, bits in groups for bit in bits}
    owned = {bit for (name,), bits in groups for bit in bits if bit in _not_the_unit(name, rows, changing)}
    silent |= _silent(rows, (), [bit for bit in changing if bit not in fields_bits], apart)
    rest = tuple(bit for bit in changing if bit not in silent | owned)
    together = tuple(name for name in names if name not in apart)
    if _contradiction(rows, rest, together):  # what seemed to be apart is not
        silent = _silent(rows, twins, ours)
        groups, together, rest = [], tuple(names), tuple(bit for bit in changing if bit not in silent)
    groups.insert(0, (together, rest or (min(still, default=0),)))
    steady = {bit: bool(frames[0, bit]) for bit in still if bit not in silent}
    fields = tuple(_field(rows, says, bits) for says, bits in groups)
    return ModeFit(fields, steady, frozenset(silent), tuple(row.moment for row in rows), slips)


Group = tuple[tuple[str, ...], tuple[int, ...]]


def _switch_bits(name: str, rows: Sequence[_Row], changing: Sequence[int]) -> set[int]:
    """The bits that follow an attribute that is on or off, in every frame; empty for others."""
    known = [row for row in rows if row.said[name] is not None]
    wanted = [row.said[name] for row in known]
    if not set(wanted) <= {True, False}:
        return set()
    frames = np.array([row.frame for row in known])
    on = np.array(wanted, dtype=np.bool_)
    return {bit for bit in changing if (frames[:, bit] == on).all() or (frames[:, bit] != on).all()}


def _scale_bits(name: str, rows: Sequence[_Row], changing: Sequence[int]) -> set[int]:
    """The bits that tell where the point is, whatever the unit; empty where that is not confirmed."""
    known = [row for row in rows if row.said[name] is not None]
    values = {row.said[name] for row in known}
    frames = np.array([row.frame for row in known])
    on = {value: np.array([row.said[name] == value for row in known]) for value in values}
    follow = {
        value: {bit for bit in changing if (frames[:, bit] == one).all() or (frames[:, bit] != one).all()}
        for value, one in on.items()
    }
    bits: set[int] = set().union(*follow.values())
    if sum(not found for found in follow.values()) > 1:
        bits = set()
    for run in _runs(changing):
        keys = {key_of(row.frame, run) for row in known}
        if len(keys) == len(values) and not _contradiction(known, run, (name,)):
            bits |= set(run)
    order = sorted(bits)
    if not order or _contradiction(known, order, (name,)):
        return set()
    contexts = {(key_of(row.frame, order), row.said["unit"], row.said.get("prefix")) for row in known}
    confirmed = len(contexts) - len({context[0] for context in contexts})
    return bits if confirmed >= CONFIRMATIONS else set()


def _runs(changing: Sequence[int]) -> Iterator[tuple[int, ...]]:
    """Neighbours among the changing bits of each byte."""
    for byte in sorted({bit // 8 for bit in changing}):
        own = [bit for bit in changing if bit // 8 == byte]
        for first in range(len(own)):
            for last in range(first + 1, len(own) + 1):
                yield tuple(own[first:last])


def _not_the_unit(name: str, rows: Sequence[_Row], changing: Sequence[int]) -> set[int]:
    """Bits that differed while unit and prefix were the same and the attribute was not: no unit's bits."""
    same_unit = [other for other in ("unit", "prefix") if other in rows[0].said]
    found: set[int] = set()
    for a, b in combinations(rows, 2):
        if contradict(a.said, b.said, (name,)) and same(a.said, b.said, same_unit):
            found |= _differing(a.frame, b.frame, changing)
    return found


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
        words = words_of(said, says)
        if "unit" in says and all(row.over for row in same_key):
            words = words - {"overload"} | {"unscaled"}
        values[key] = Meaning(frozenset(words), tuple(row.moment for row in same_key))
    return Field(says, bits, values)
