"""The whole comparison: read, check, pair, lay over each other, measure, and find the excursions."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from pathlib import Path

from meterlog.compare.align import Laid, lay
from meterlog.compare.band import Reference, band, excursions
from meterlog.compare.capture import Capture, load_capture
from meterlog.compare.comparison import Alignment, Band, ChannelComparison, Comparison
from meterlog.compare.measures import Side, measures
from meterlog.compare.pairing import Pair, check_systems, pair_channels
from meterlog.errors import CompareError
from meterlog.signal.interval import reading_interval


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
    captures = [load_capture(path, limits_file) for path in good]
    return compare_captures(captures, load_capture(suspect, limits_file), pairs=pairs, one_system=one_system)


def compare_captures(
    good: Sequence[Capture],
    suspect: Capture,
    *,
    pairs: Mapping[str, str] | None = None,
    one_system: bool = False,
) -> Comparison:
    """Compare known-good captures with a suspect one (or before with after a repair).

    Args:
        good: one or more known-good captures.
        suspect: the suspect capture.
        pairs: labels in the known-good and the labels in the suspect they belong to; by label and quantity else.
        one_system: a person says that all are of one system voltage, whatever the levels look like.

    Raises:
        CompareError: they cannot be compared: no known-good, different systems, no common channel.
    """
    if not good:
        raise CompareError("name at least one known-good session to compare with")
    if any(capture.path.resolve() == suspect.path.resolve() for capture in good):
        raise CompareError(f"{suspect.path} is given as known-good and as suspect: a session is the same as itself")
    notes = [] if one_system else check_systems([*good, suspect])
    found, unpaired = pair_channels(good, suspect, pairs or {})
    channels = tuple(_channel(good, suspect, pair) for pair in found)
    return Comparison(
        tuple(str(capture.path) for capture in good), str(suspect.path), channels, tuple(unpaired), tuple(notes)
    )


def _channel(good: Sequence[Capture], suspect: Capture, pair: Pair) -> ChannelComparison:
    sides: list[Side] = list(zip(good, pair.good, strict=True))
    own: Side = (suspect, pair.suspect)
    laid = lay(sides, own)
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
    passes = min([len(laid.suspect), *(len(of_one) for of_one in laid.good)])
    found = []
    for number in range(passes):
        part = number + 1 if passes > 1 else None
        found.append(
            band(
                part,
                _reference(suspect, laid, None, number),
                [_reference(side, laid, index, number) for index, side in enumerate(good)],
            )
        )
    return found


def _reference(side: Side, laid: Laid, index: int | None, number: int) -> Reference:
    capture, channel = side
    passes = laid.suspect if index is None else laid.good[index]
    return Reference(passes[number], capture.series(channel.number), channel.accuracy)


def _alignment(laid: Laid, index: int, side: Side) -> Alignment:
    if laid.method == "none":
        return Alignment(str(side[0].path), "none", 0.0, None)
    own, other = laid.suspect[0], laid.good[index][0]
    return Alignment(str(side[0].path), laid.method, own.onset_s - other.onset_s, own.error_s + other.error_s)


def _notes(good: Sequence[Side], suspect: Side, laid: Laid) -> list[str]:
    notes = []
    if laid.method == "none":
        notes.append(
            "the captures could not be laid over each other: no prime, crank or marker in all of them, and no "
            "likeness; so there is no band, and the measures alone are compared"
        )
    else:
        counts = [len(laid.suspect), *(len(of_one) for of_one in laid.good)]
        if len(set(counts)) > 1:
            listed = ", ".join(map(str, counts[1:]))
            seen = f"{listed} in the known-good, {counts[0]} in the suspect"
            notes.append(f"{laid.method}: {seen}; the first {min(counts)} are compared")
    labels = {side[1].label for side in (*good, suspect)}
    if len(labels) > 1:
        notes.append(f"paired although the labels differ: {', '.join(sorted(repr(label) for label in labels))}")
    intervals = [
        reading_interval(capture.series(channel.number).time_s).interval_s for capture, channel in (*good, suspect)
    ]
    known = [interval for interval in intervals if not math.isnan(interval)]
    if known and max(known) > 1.5 * min(known):
        notes.append(
            f"the reading intervals differ ({min(known):.2f} to {max(known):.2f} s); what is shorter than "
            f"{2 * max(known):.2f} s could show in one and not in the other"
        )
    return notes
