"""A comparison as plain text."""

from __future__ import annotations

import math

from meterlog.compare.comparison import Alignment, ChannelComparison, Comparison, Excursion, Measure
from meterlog.reading import Quantity
from meterlog.text.figures import shown
from meterlog.text.safe import one_line

SENTENCES = {
    "different": "The suspect differs from the known-good by more than the errors explain.",
    "same within error": "The suspect is the same as the known-good within the errors.",
    "cannot tell": "These captures cannot tell whether the suspect differs.",
}

_SAID_BY_THE_NAME = {"1/h": ""}
"""Units that the measure's name says: 'dropout per hour'."""


def as_text(comparison: Comparison) -> str:
    """Everything in a comparison, for a terminal."""
    good = ", ".join(map(one_line, comparison.good))
    lines = [f"known-good: {good}", f"suspect:    {one_line(comparison.suspect)}", ""]
    lines += [f"{comparison.verdict.upper()}: {SENTENCES[comparison.verdict]}"]
    for channel in comparison.channels:
        lines += ["", *_channel(channel)]
    lines += [f"not compared: {one_line(line)}" for line in comparison.unpaired]
    lines += [f"note: {one_line(line)}" for line in comparison.notes]
    return "\n".join(lines) + "\n"


def _channel(channel: ChannelComparison) -> list[str]:
    name = one_line(channel.label) or f"channel {channel.suspect_channel}"
    lines = [f"{name} ({Quantity(channel.quantity).words}): {channel.verdict}"]
    lines += [
        f"  {one_line(alignment.good)}: {one_line(alignment_words(alignment))}" for alignment in channel.alignment
    ]
    rows = [("measure", "known-good", "suspect", "difference", "verdict")]
    rows += [measure_words(measure) for measure in channel.measures]
    widths = [max(len(row[column]) for row in rows) for column in range(5)]
    lines += [
        "  " + "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip() for row in rows
    ]
    lines += [f"  excursion: {excursion_words(excursion, channel.unit)}" for excursion in channel.excursions]
    if not channel.excursions and channel.bands:
        lines.append("  no excursion from the band of the known-good beyond the combined error")
    return lines + [f"  note: {one_line(note)}" for note in channel.notes]


def alignment_words(alignment: Alignment) -> str:
    """Say how a capture was aligned with the suspect."""
    if alignment.error_s is None:
        return "not aligned: it shares no prime, crank or marker with the suspect, and is not alike enough"
    return f"aligned by {alignment.method}, shifted by {shown(alignment.offset_s, 's', alignment.error_s)}"


def measure_words(measure: Measure) -> tuple[str, str, str, str, str]:
    """One row of the table: measure, known-good, suspect, difference, verdict."""
    name = measure.measure if measure.part is None else f"{measure.measure} {measure.part}"
    verdict = f"{measure.verdict} ({measure.note})" if measure.note else measure.verdict
    return (
        name,
        _figure(measure.good, measure.unit, measure.good_error),
        _figure(measure.suspect, measure.unit, measure.suspect_error),
        _figure(measure.difference, measure.unit, measure.uncertainty),
        verdict,
    )


def excursion_words(excursion: Excursion, unit: str) -> str:
    """One excursion in words."""
    where = "" if excursion.part is None else f"pass {excursion.part}, "
    at = f"{where}{excursion.start_s:.2f} to {excursion.end_s:.2f} s"
    reading = _figure(excursion.value, unit, None)
    reference = _figure(excursion.reference, unit, None)
    if excursion.beyond is None or not math.isfinite(excursion.beyond):
        return f"{at}: {reading} where the known-good read {reference}"
    beyond = shown(excursion.beyond, unit)
    return f"{at}: {reading} where the known-good read {reference}, {beyond} beyond the combined error"


def _figure(value: float | None, unit: str, error: float | None) -> str:
    if value is None:
        return "-"
    unit = _SAID_BY_THE_NAME.get(unit, unit)
    if not unit and not error:
        return f"{value:g}"
    return shown(value, unit, error)
