"""The whole comparison: read, check, pair, lay over each other, measure, and find the excursions."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from pathlib import Path

import numpy as np

from meterlog.comparing.align import Laid, Pass, lay, nudged
from meterlog.comparing.combine import combined
from meterlog.comparing.comparison import Alignment, Band, ChannelComparison, Comparison
from meterlog.comparing.measures import measures
from meterlog.comparing.pairing import Pair, Side, check_systems, pair_channels
from meterlog.comparing.reference_band import Reference, band, excursions
from meterlog.comparing.vehicles import one_a_vehicle
from meterlog.errors import CompareError
from meterlog.loaded import Loaded, load
from meterlog.sides import KNOWN_GOOD, Sides
from meterlog.signal.interval import reading_interval

UNLIKE_INTERVALS = 1.5
"""Reading intervals that differ by more than this factor get a note: one capture shows more than the other. A guess."""


def compare(
    good: Sequence[str | Path],
    *suspects: str | Path,
    pairs: Mapping[str, str] | None = None,
    limits_file: str | None = None,
    one_system: bool = False,
    sides: Sides = KNOWN_GOOD,
) -> Comparison:
    """Compare sessions by their paths; see `compare_captures`.

    Raises:
        SessionError: a session cannot be read.
        LimitsError: the limits cannot be used.
        CompareError: they cannot be compared.
    """
    captures = [load(path, limits_file) for path in good]
    others = [load(path, limits_file) for path in suspects]
    return compare_captures(captures, *others, pairs=pairs, one_system=one_system, sides=sides)


def compare_captures(
    good: Sequence[Loaded],
    *suspects: Loaded,
    pairs: Mapping[str, str] | None = None,
    one_system: bool = False,
    nudge_s: float = 0.0,
    sides: Sides = KNOWN_GOOD,
) -> Comparison:
    """Compare known-good captures with suspect ones, or those before something was done with those after it.

    Args:
        good: the known-good captures, one or more; or those before.
        suspects: the suspect captures, one or more; or those after. Each may hold another part of the circuit.
        pairs: labels in the known-good and the labels in the suspect they belong to; by label and quantity else.
        one_system: a person says that all are of one system voltage, whatever the levels look like.
        nudge_s: lay the known-good this much later than found, by hand.
        sides: what the two sides are called.

    Raises:
        CompareError: they cannot be compared: a side is empty, different systems, no common channel.
    """
    for captures, name in ((good, sides.reference), (suspects, sides.other)):
        if not captures:
            raise CompareError(f"name at least one '{name}' session to compare")
    notes = [] if one_system else check_systems([*good, *suspects])
    paired = pair_channels(good, suspects, pairs or {})
    return Comparison(
        tuple(str(capture.path) for capture in good),
        tuple(str(capture.path) for capture in suspects),
        tuple(_channel(pair, len(good), nudge_s, sides) for pair in paired.pairs),
        paired.unpaired,
        tuple(notes),
        paired.deciding,
        tuple(_on_both_sides(good, suspects)),
        sides,
    )


def _on_both_sides(good: Sequence[Loaded], suspects: Sequence[Loaded]) -> list[str]:
    """A sentence for each session that is compared with itself, under this name or another."""
    said = []
    for suspect in suspects:
        for capture in good:
            if _one_recording(capture, suspect):
                copied = "" if suspect.path == capture.path else f" ({capture.path.name} is a copy of it)"
                said.append(
                    f"{suspect.path.name} stands on both sides{copied}: a session held against itself shows nothing."
                )
    return said


def _one_recording(one: Loaded, other: Loaded) -> bool:
    return one is other or (
        one.started_at == other.started_at
        and len(one.measured) == len(other.measured)
        and all(
            np.array_equal(one.series(a.number).value, other.series(b.number).value, equal_nan=True)
            and np.array_equal(one.series(a.number).time_s, other.series(b.number).time_s)
            for a, b in zip(one.measured, other.measured, strict=True)
        )
    )


def _channel(pair: Pair, captures: int, nudge_s: float, sides: Sides) -> ChannelComparison:
    suspect, channel = pair.suspect
    channels = len(pair.good)
    pair, told = one_a_vehicle(pair)
    laid = nudged(lay(pair.good, pair.suspect), nudge_s)
    bands = _bands(pair.good, pair.suspect, laid)
    notes = [*_notes(pair.good, pair.suspect, laid, sides), *told, *_left_out(pair.good, bands)]
    if channels < captures:
        notes.append(f"{channels} of {captures} sessions of {sides.the_reference} have this channel")
    return ChannelComparison(
        label=channel.label,
        quantity=str(channel.quantity),
        unit=channel.quantity.unit,
        suspect=str(suspect.path),
        suspect_channel=channel.number,
        good_channels=tuple(fellow.number for _, fellow in pair.good),
        alignment=tuple(_alignment(laid, number, side) for number, side in enumerate(pair.good)),
        measures=tuple(measures(pair.good, pair.suspect, laid, suspect.analysis.limits, sides)),
        excursions=tuple(excursion for found in bands for excursion in excursions(found)),
        bands=tuple(bands),
        notes=tuple(notes),
    )


def _left_out(good: Sequence[Side], bands: Sequence[Band]) -> list[str]:
    """Name the captures whose curve does not belong to the others."""
    odd = sorted({number for one in bands for number in one.odd})
    return [f"left out of the band as odd: {', '.join(good[number][0].path.name for number in odd)}"] if odd else []


def _bands(good: Sequence[Side], suspect: Side, laid: Laid) -> list[Band]:
    found = []
    for number, part in enumerate(laid.parts):
        references = [_reference(side, passes[number]) for side, passes in zip(good, laid.good, strict=True)]
        own = _reference(suspect, laid.suspect[number])
        found.append(band(part if len(laid.parts) > 1 else None, own, references))
    return found


def _reference(side: Side, one: Pass) -> Reference:
    capture, channel = side
    return Reference(one, capture.believed(channel.number), channel.accuracy)


def _alignment(laid: Laid, index: int, side: Side) -> Alignment:
    if laid.method == "none":
        return Alignment(str(side[0].path), "none", 0.0, None)
    own, other = laid.suspect[0], laid.good[index][0]
    return Alignment(str(side[0].path), laid.method, own.onset_s - other.onset_s, combined(own.error_s, other.error_s))


def _notes(good: Sequence[Side], suspect: Side, laid: Laid, sides: Sides) -> list[str]:
    notes = []
    if laid.method == "none":
        notes.append(
            "the captures could not be aligned: they share no prime, crank or marker, and are not alike "
            "enough; so there is no band, and only the measures are compared"
        )
    elif len(set(laid.seen)) > 1:
        seen = f"{', '.join(map(str, laid.seen[1:]))} in {sides.the_reference}, {laid.seen[0]} in {sides.the_other}"
        notes.append(f"{laid.method}: {seen}; the {len(laid.parts)} that all have are compared")
    labels = {side[1].label for side in (*good, suspect)}
    if len(labels) > 1:
        notes.append(f"paired although the labels differ: {', '.join(sorted(repr(label) for label in labels))}")
    intervals = [
        reading_interval(capture.believed(channel.number).time_s).interval_s for capture, channel in (*good, suspect)
    ]
    known = [interval for interval in intervals if not math.isnan(interval)]
    if known and max(known) > UNLIKE_INTERVALS * min(known):
        notes.append(
            f"the reading intervals differ ({min(known):.2f} to {max(known):.2f} s); an event shorter than "
            f"{2 * max(known):.2f} s may show in one capture and not in the other"
        )
    return notes
