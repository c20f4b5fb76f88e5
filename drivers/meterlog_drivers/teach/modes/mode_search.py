"""Finds which bits of a frame say unit, point, sign and symbols, and which say nothing.

What is either on or off, the sign or an overload, is told by bits that follow it in every frame. The point is told by
neighbouring bits, or by one bit for each place, once it was confirmed with several units that it does not depend on
them. Bits that differ where displays were alike in all else say nothing. What is left over says the rest, together,
and only in combinations that were seen: a code that was never taught is not read.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import replace
from itertools import combinations

from meterlog_drivers.teach.digits.number_fit import Bits
from meterlog_drivers.teach.modes.attributes import attributes_of, with_all_words
from meterlog_drivers.teach.modes.mode_fields import mode_fields
from meterlog_drivers.teach.modes.mode_fit import ModeFit
from meterlog_drivers.teach.modes.rows import Row, contradiction, odd_ones
from meterlog_drivers.teach.modes.silent_bits import silent_bits
from meterlog_drivers.teach.moments import Label


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
    rows = [Row(one, bits[n], n, labels[n].overload, labels[n].counts) for n, one in enumerate(said)]
    more = [Row(said[n], frame, n, labels[n].overload, labels[n].counts) for n, frame in alike]
    for count in range(3):
        fitting = []
        for left_out in combinations(range(len(rows)), count):
            kept = [row for row in rows if row.moment not in left_out]
            twins = [row for row in more if row.moment not in left_out]
            silent = silent_bits(kept, twins, ours)
            if kept and not contradiction(kept, [b for b in ours if b not in silent]):
                fitting.append(left_out)
        if fitting:
            # where any of several moments may be the wrong one, none of them is believed
            slips = tuple(sorted({n for left_out in fitting for n in left_out}))
            kept = [row for row in rows if row.moment not in slips]
            twins = [row for row in more if row.moment not in slips]
            doubted = odd_ones(kept, [bit for bit in ours if bit not in silent_bits(kept, twins, ours)])
            kept = [row for row in kept if row.moment not in doubted]
            twins = [row for row in twins if row.moment not in doubted]
            scale = "power" if power else "decimals"
            return (
                replace(mode_fields(kept, twins, ours, slips, scale), doubted=tuple(sorted(doubted))) if kept else None
            )
        if count == 1 and len(rows) > 40:
            break
    return None
