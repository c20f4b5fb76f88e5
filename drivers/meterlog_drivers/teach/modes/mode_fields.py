"""Shares the bits that change out among what they say."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import combinations

import numpy as np

from meterlog_drivers.teach.modes.attributes import contradict, same, words_of
from meterlog_drivers.teach.modes.mode_fit import Field, Meaning, ModeFit, key_of
from meterlog_drivers.teach.modes.rows import Row, contradiction, differing
from meterlog_drivers.teach.modes.silent_bits import silent_bits

CONFIRMATIONS = 5
"""Times that the point was where the same code had put it with another unit, until that is believed: by chance each is
so in a third of cases (guess), all five in 0.4 %, and about ten sets of bits are tried."""


def mode_fields(
    rows: Sequence[Row], twins: Sequence[Row], ours: Sequence[int], slips: tuple[int, ...], scale: str
) -> ModeFit:
    """Share the changing bits out among what they say."""
    frames = np.array([row.frame for row in rows])
    still = {bit for bit in ours if frames[:, bit].any() == frames[:, bit].all()}
    silent = silent_bits(rows, twins, ours)
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
    silent |= silent_bits(rows, (), [bit for bit in changing if bit not in fields_bits], apart)
    rest = tuple(bit for bit in changing if bit not in silent | owned)
    together = tuple(name for name in names if name not in apart)
    if contradiction(rows, rest, together):  # what seemed to be apart is not
        silent = silent_bits(rows, twins, ours)
        groups, together, rest = [], tuple(names), tuple(bit for bit in changing if bit not in silent)
    groups.insert(0, (together, rest or (min(still, default=0),)))
    steady = {bit: bool(frames[0, bit]) for bit in still if bit not in silent}
    fields = tuple(_field(rows, says, bits) for says, bits in groups)
    return ModeFit(fields, steady, frozenset(silent), tuple(row.moment for row in rows), slips)


Group = tuple[tuple[str, ...], tuple[int, ...]]


def _switch_bits(name: str, rows: Sequence[Row], changing: Sequence[int]) -> set[int]:
    """The bits that follow an attribute that is on or off, in every frame; empty for others."""
    known = [row for row in rows if row.said[name] is not None]
    wanted = [row.said[name] for row in known]
    if not set(wanted) <= {True, False}:
        return set()
    frames = np.array([row.frame for row in known])
    on = np.array(wanted, dtype=np.bool_)
    return {bit for bit in changing if (frames[:, bit] == on).all() or (frames[:, bit] != on).all()}


def _scale_bits(name: str, rows: Sequence[Row], changing: Sequence[int]) -> set[int]:
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
        if len(keys) == len(values) and not contradiction(known, run, (name,)):
            bits |= set(run)
    order = sorted(bits)
    if not order or contradiction(known, order, (name,)):
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


def _not_the_unit(name: str, rows: Sequence[Row], changing: Sequence[int]) -> set[int]:
    """Bits that differed while unit and prefix were the same and the attribute was not: no unit's bits."""
    same_unit = [other for other in ("unit", "prefix") if other in rows[0].said]
    found: set[int] = set()
    for a, b in combinations(rows, 2):
        if contradict(a.said, b.said, (name,)) and same(a.said, b.said, same_unit):
            found |= differing(a.frame, b.frame, changing)
    return found


def _field(rows: Sequence[Row], says: tuple[str, ...], bits: tuple[int, ...]) -> Field:
    """The meanings of a field's values; where only overloads were seen, no number is read."""
    together: dict[tuple[bool, ...], list[Row]] = {}
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
