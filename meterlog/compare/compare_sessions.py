"""The whole comparison: read, check, pair, lay over each other, measure, and find the excursions."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from pathlib import Path

from meterlog.compare.align import Laid, Pass, lay, nudged
from meterlog.compare.combine import combined
from meterlog.compare.comparison import Alignment, Band, ChannelComparison, Comparison
from meterlog.compare.measures import Side, measures
from meterlog.compare.pairing import Pair, check_systems, pair_channels
from meterlog.compare.reference_band import Reference, band, excursions
from meterlog.errors import CompareError
from meterlog.loaded import Loaded, load
from meterlog.signal.interval import reading_interval

UNLIKE_INTERVALS = 1.5
"""Reading intervals that differ by more than this factor get a note: one capture shows more than the other. A guess."""


def compare(
    good: Sequence[str | Path],
    suspect: str | Path,
    *,
    pairs: Mapping[str, str] | None = None,
    limits_file: str | None = None,
    one_system: bool = False,
) -> Comparison:
    """Compare sessions by their paths; see `compare_captures`.

    Raises:
        SessionError: a session cannot be read.
        LimitsError: the limits cannot be used.
        CompareError: they cannot be compared.
    """
    captures = [load(path, limits_file) for path in good]
    return compare_captures(captures, load(suspect, limits_file), pairs=pairs, one_system=one_system)


def compare_captures(
    good: Sequence[Loaded],
    suspect: Loaded,
    *,
    pairs: Mapping[str, str] | None = None,
    one_system: bool = False,
    nudge_s: float = 0.0,
) -> Comparison:
    """Compare known-good captures with a suspect one (or before with after a repair).

    Args:
        good: one or more known-good captures.
        suspect: the suspect capture.
        pairs: labels in the known-good and the labels in the suspect they belong to; by label and quantity else.
        one_system: a person says that all are of one system voltage, whatever the levels look like.
        nudge_s: lay the known-good this much later than found, by hand.

    Raises:
        CompareError: they cannot be compared: no known-good, different systems, no common channel.
    """
    if not good:
        raise CompareError("name at least one known-good session to compare with")
    notes = [] if one_system else check_systems([*good, suspect])
    found, unpaired = pair_channels(good, suspect, pairs or {})
    channels = tuple(_channel(good, suspect, pair, nudge_s) for pair in found)
    return Comparison(
        tuple(str(capture.path) for capture in good), str(suspect.path), channels, tuple(unpaired), tuple(notes)
    )


def _channel(good: Sequence[Loaded], suspect: Loaded, pair: Pair, nudge_s: float) -> ChannelComparison:
    sides: list[Side] = list(zip(good, pair.good, strict=True))
    own: Side = (suspect, pair.suspect)
    laid = nudged(lay(sides, own), nudge_s)
    bands = _bands(sides, own, laid)
    return ChannelComparison(
        label=pair.suspect.label,
        quantity=str(pair.suspect.quantity),
        unit=pair.suspect.quantity.unit,
        suspect_channel=pair.suspect.number,
        good_channels=tuple(channel.number for channel in pair.good),
        alignment=tuple(_alignment(laid, number, side) for number, side in enumerate(sides)),
        measures=tuple(measures(sides, own, laid, suspect.analysis.limits)),
        excursions=tuple(excursion for found in bands for excursion in excursions(found)),
        bands=tuple(bands),
        notes=tuple(_notes(sides, own, laid)),
    )


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


def _notes(good: Sequence[Side], suspect: Side, laid: Laid) -> list[str]:
    notes = []
    if laid.method == "none":
        notes.append(
            "the captures could not be aligned: they share no prime, crank or marker, and are not alike "
            "enough; so there is no band, and only the measures are compared"
        )
    elif len(set(laid.seen)) > 1:
        seen = f"{', '.join(map(str, laid.seen[1:]))} in the known-good, {laid.seen[0]} in the suspect"
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
