"""A comparison as plain text."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path

from meterlog.comparing.comparison import Alignment, ChannelComparison, Comparison, Counted, Excursion, Measure
from meterlog.reading import Quantity
from meterlog.sides import Sides
from meterlog.text.figures import seconds, shown
from meterlog.text.safe import one_line

MOST_EXCURSIONS = 10
"""More excursions of a channel are summed up, and the farthest listed. A choice: a screenful."""

_MOST_NAMED = 6
"""More sessions of a side are counted, not named one by one. A choice: a quarter of a screen."""

_SAID_BY_THE_NAME = {"1/h": ""}
"""Units that the measure's name says: 'dropout per hour'."""


def headline(comparison: Comparison) -> str:
    """The verdict in a sentence, and what keeps it open."""
    the_reference, the_other = comparison.sides.the_reference, comparison.sides.the_other
    said = {
        "different": _outside(comparison)
        or f"{the_other} differs from {the_reference} by more than the errors explain.",
        "same within error": f"{the_other} is the same as {the_reference} within the errors.",
        "cannot tell": f"these captures cannot tell whether {the_other} differs from {the_reference}.",
    }[comparison.verdict]
    return " ".join([said[0].upper() + said[1:], *comparison.doubts])


def _outside(comparison: Comparison) -> str:
    """Say that the suspect is outside what many show, and how often that is said of a sound one; '' of few."""
    different = [channel for channel in comparison.channels if channel.verdict == "different"]
    chances = [channel.false_alarm for channel in comparison.channels if channel.false_alarm is not None]
    if not different or any(channel.false_alarm is None for channel in different):
        return ""
    captures = max(len(channel.good_channels) for channel in different)
    outside = f"{comparison.sides.the_other} is outside what {captures} {comparison.sides.reference} captures show"
    return (
        f"{outside}; by all that was compared, this is said of up to {min(1.0, math.fsum(chances)):.0%} of sound ones."
    )


def as_text(comparison: Comparison) -> str:
    """Everything in a comparison, for a terminal."""
    sides = comparison.sides
    width = max(len(sides.reference), len(sides.other)) + 1
    lines = [
        f"{name + ':':<{width}} {_named(paths)}"
        for name, paths in ((sides.reference, comparison.good), (sides.other, comparison.suspect))
    ]
    lines += ["", f"{comparison.verdict.upper()}: {one_line(headline(comparison))}"]
    for channel in comparison.channels:
        lines += ["", *_channel(channel, comparison)]
    lines += [f"not compared: {one_line(line)}" for line in comparison.unpaired if line not in comparison.deciding]
    lines += [f"note: {one_line(line)}" for line in comparison.notes]
    return "\n".join(lines) + "\n"


def _named(paths: Sequence[str]) -> str:
    if len(paths) <= _MOST_NAMED:
        return ", ".join(map(one_line, paths))
    return f"{len(paths)} sessions, from {one_line(paths[0])} to {one_line(paths[-1])}"


def channel_name(channel: ChannelComparison, comparison: Comparison) -> str:
    """Return what a channel is called, with its session where there are several on that side."""
    name = channel.label or f"channel {channel.suspect_channel}"
    return f"{name} in {Path(channel.suspect).name}" if len(comparison.suspect) > 1 else name


def _channel(channel: ChannelComparison, comparison: Comparison) -> list[str]:
    sides = comparison.sides
    name = one_line(channel_name(channel, comparison))
    lines = [f"{name} ({Quantity(channel.quantity).words}): {channel.verdict}"]
    lines += _alignments(channel.alignment, sides)
    rows = [("measure", sides.reference, sides.other, "difference", "verdict")]
    rows += [measure_words(measure) for measure in channel.measures]
    widths = [max(len(row[column]) for row in rows) for column in range(5)]
    lines += [
        "  " + "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip() for row in rows
    ]
    lines += [f"  excursion: {words}" for words in excursions_words(channel, sides)]
    if not channel.excursions and channel.bands:
        lines.append(f"  no excursion from the band of {sides.the_reference} beyond the combined error")
    return lines + [f"  note: {one_line(note)}" for note in channel.notes]


def _alignments(alignments: Sequence[Alignment], sides: Sides) -> list[str]:
    """Say how each capture was aligned; of many only which could not be."""
    told = [f"  {one_line(one.good)}: {one_line(alignment_words(one, sides))}" for one in alignments]
    errors_s = [one.error_s for one in alignments if one.error_s is not None]
    if len(told) <= _MOST_NAMED or not errors_s:
        return told[:_MOST_NAMED]
    aligned = next(one for one in alignments if one.error_s is not None)
    unknown = [line for one, line in zip(alignments, told, strict=True) if one.error_s is None]
    return [f"  {len(errors_s)} sessions aligned by {aligned.method}, each to {seconds(max(errors_s))}", *unknown]


def alignment_words(alignment: Alignment, sides: Sides) -> str:
    """Say how a capture was aligned with the suspect."""
    if alignment.error_s is None:
        return f"not aligned: it shares no prime, crank or marker with {sides.the_other}, and is not alike enough"
    return f"aligned by {alignment.method}, shifted by {shown(alignment.offset_s, 's', alignment.error_s)}"


def measure_words(measure: Measure) -> tuple[str, str, str, str, str]:
    """One row of the table: measure, known-good, suspect, difference, verdict."""
    name = measure.measure if measure.part is None else f"{measure.measure} {measure.part}"
    verdict = f"{measure.verdict} ({measure.note})" if measure.note else measure.verdict
    if measure.counted is not None:
        return (name, *_counted(measure, measure.counted), verdict)
    cells = (
        (measure.good, measure.good_error),
        (measure.suspect, measure.suspect_error),
        (measure.difference, measure.uncertainty),
    )
    sizes = [abs(size) for cell in cells for size in cell if size is not None and math.isfinite(size)]
    good, suspect, difference = (_figure(value, measure.unit, error, max(sizes, default=0.0)) for value, error in cells)
    return name, good, suspect, difference, verdict


def _counted(measure: Measure, found: Counted) -> tuple[str, str, str]:
    """Return what was counted on each side, and the difference of the rates where there is one."""
    sides = ((measure.good, found.good, found.good_of), (measure.suspect, found.suspect, found.suspect_of))
    cells = [
        (f"{_figure(rate, measure.unit, None)} ({n} in {seconds(of)})" if found.timed else f"{n} of {of:g}")
        for rate, n, of in sides
    ]
    difference = measure.difference if measure.verdict == "different" else None
    return cells[0], cells[1], _figure(difference, measure.unit, None)


def excursions_words(channel: ChannelComparison, sides: Sides) -> list[str]:
    """Every excursion in words; many are summed up, and the farthest listed."""
    found, lines = channel.excursions, []
    if len(found) > MOST_EXCURSIONS:
        lasting = math.fsum(one.end_s - one.start_s for one in found)
        span = f"from {found[0].start_s:.2f} to {found[-1].end_s:.2f} s"
        lines.append(f"{len(found)} of them {span}, {seconds(lasting)} in all; the {MOST_EXCURSIONS} farthest out:")
        found = tuple(sorted(found, key=lambda one: -(one.beyond or 0.0))[:MOST_EXCURSIONS])
    return lines + [excursion_words(one, channel.unit, sides) for one in sorted(found, key=lambda one: one.start_s)]


def excursion_words(excursion: Excursion, unit: str, sides: Sides) -> str:
    """One excursion in words."""
    where = "" if excursion.part is None else f"pass {excursion.part}, "
    at = f"{where}{excursion.start_s:.2f} to {excursion.end_s:.2f} s"
    reading = _figure(excursion.value, unit, None)
    told = f"{at}: {reading} where {sides.the_reference} read {_figure(excursion.reference, unit, None)}"
    if excursion.beyond is None or not math.isfinite(excursion.beyond):
        return told
    return f"{told}, {shown(excursion.beyond, unit)} beyond the combined error"


def _figure(value: float | None, unit: str, error: float | None, beside: float = 0.0) -> str:
    if value is None:
        return "-"
    unit = _SAID_BY_THE_NAME.get(unit, unit)
    if not unit and not error:
        return f"{value:.3g}"
    return shown(value, unit, error, beside=beside)
