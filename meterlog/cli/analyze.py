"""Show what happened in a session in time order, what that means against the limits, and the shortest event that
the readings could have shown."""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterator
from datetime import timedelta

from meterlog.analysis import Analysis, ChannelSummary, analyze
from meterlog.cli.terminal.notes import print_notes
from meterlog.cli.terminal.wrap import wrapped
from meterlog.events.event import Event
from meterlog.kinds import KINDS
from meterlog.session.model import Marker
from meterlog.signal.interval import Interval
from meterlog.signal.statistics_text import HEADINGS, left_out, statistics_words
from meterlog.text.figures import count, seconds
from meterlog.text.safe import one_line
from meterlog.text.times import HOUR_S, from_start

_NEGLIGIBLE_TIME_ERROR = 0.05
"""An error of the times up to this share of the interval is not mentioned (a choice)."""

_SHORT_S = 120.0
"""A session shorter than this has its length in seconds, s: a choice."""
_MOST_LISTED = 12
"""So many gaps and the like are listed one by one, more of them in one line: a choice."""
_DAY_S = 86_400.0
"""From this length on the date stands beside the time of day, s."""

EXAMPLE = "meterlog analyze key-on.sqlite"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    parser.add_argument("session", metavar="SESSION", help="the session file")
    parser.add_argument("--limits", metavar="FILE", help="your own limits file, or car-12v, truck-24v, old-6v")
    parser.add_argument("--json", action="store_true", help="one JSON object on standard output")


def run(args: argparse.Namespace) -> int:
    """Do it; the exit status."""
    from meterlog.session import open_reader
    from meterlog.session.contents import Contents

    with open_reader(args.session) as session:
        session.need_readings()
        contents = Contents.of(session)
        analysis = analyze(contents, limits_file=args.limits)
        print_notes(contents.notes)
    print(
        json.dumps(analysis.as_json(), allow_nan=False, ensure_ascii=False) if args.json else wrapped(as_text(analysis))
    )
    return 0


def as_text(analysis: Analysis) -> str:
    """The analysis in the order a person asks: what happened, what it means, what could not have been seen."""
    return "\n".join([*_head(analysis), "", *_happened(analysis), *_means(analysis), "", *_visible(analysis)])


def in_short(analysis: Analysis) -> str:
    """The verdict in a line or two: how many statements of each kind, and the first that is outside."""
    verdicts = [finding.verdict for finding in analysis.findings]
    told = [f"{verdicts.count(v)} {v}" for v in ("outside", "cannot tell", "within") if v in verdicts]
    first = next((finding.text for finding in analysis.findings if finding.verdict == "outside"), "")
    return f"In short: {', '.join(told) or 'nothing to judge'}.{f' {one_line(first)}' if first else ''}"


def _head(analysis: Analysis) -> Iterator[str]:
    start = analysis.started_at.astimezone()
    yield f"{one_line(str(analysis.session))}: {_span(analysis.duration_s)} from {start:%Y-%m-%d %H:%M:%S}"


def _happened(analysis: Analysis) -> Iterator[str]:
    if not analysis.events:
        yield "Nothing found: no event of the kinds that these readings could show (what they could is below)."
    hours = analysis.duration_s >= HOUR_S
    of_day = "%H:%M:%S" if analysis.duration_s < _DAY_S else "%m-%d %H:%M:%S"
    lines = [
        *_event_lines(analysis),
        *_turn_lines(analysis),
        *((m.time_s, f"{'':<14}-- {_marked(m)}") for m in analysis.markers),
    ]
    if lines:
        yield f"What happened ({'h:min:s' if hours else 'min:s'} from the start, and the time of day):"
    for time_s, words in sorted(lines):
        moment = (analysis.started_at + timedelta(seconds=time_s)).astimezone()
        yield f"  {from_start(time_s, hours=hours):>9}  {moment:{of_day}}  {words}"


def _marked(marker: Marker) -> str:
    return one_line(f"{marker.name}: {marker.note}" if marker.note else marker.name)


def _turn_lines(analysis: Analysis) -> Iterator[tuple[float, str]]:
    """Each turn of a dial, which is no event of the circuit."""
    for turn in analysis.turns:
        yield turn.time_s, f"{'dial':<13} {one_line(turn.label)}: {turn.words}"


def _event_lines(analysis: Analysis) -> Iterator[tuple[float, str]]:
    """Each event's time and words; what says nothing of the circuit and comes often in one line a channel and kind."""
    labels = {c.channel.number: c.channel.label for c in analysis.channels}
    events = [e for e in analysis.events if not any(turn.explains(e) for turn in analysis.turns)]
    alike: dict[tuple[str, int], list[Event]] = {}
    for event in events:
        alike.setdefault((event.kind, event.channel), []).append(event)
    for event in events:
        same, words = alike[event.kind, event.channel], event.detail
        if len(same) > (1 if event.kind == "range_change" else _MOST_LISTED) and not KINDS[event.kind].about_circuit:
            if event is not same[0]:
                continue
            total_s = sum(one.end_s - one.start_s for one in same)
            words += f" ({len(same)} times in all, {seconds(total_s)} together)"
        where = f"{one_line(labels.get(event.channel, ''))}: " if len(labels) > 1 else ""
        yield event.start_s, f"{KINDS[event.kind].word:<13} {where}{words}"


def _means(analysis: Analysis) -> Iterator[str]:
    if not analysis.findings:
        return
    yield ""
    yield "Findings:"
    for finding in analysis.findings:
        yield f"  [{finding.verdict}] {one_line(finding.text)}"
        if finding.limit:
            yield f"      limit: {finding.limit} ({finding.source})"


def _visible(analysis: Analysis) -> Iterator[str]:
    labels = [summary.channel.label for summary in analysis.channels]
    for summary in analysis.channels:
        name = one_line(summary.channel.label) or f"channel {summary.channel.number}"
        if labels.count(summary.channel.label) > 1:
            name += f" ({summary.channel.quantity.words})"
        name += f", {summary.channel.measurand.described}"
        if notes := summary.channel.meter_notes:
            name += f", {one_line(notes)}"
        yield f"{name}: {_figures(summary)}"
        if damaged := _damaged(summary):
            yield f"  {damaged}"
        if summary.readings < 2 or summary.interval.interval_s != summary.interval.interval_s:
            yield f"  {summary.readings} reading(s): too few to show any event."
            continue
        shortest = summary.watch.shortest_while_watched_s
        yield (
            f"  {summary.readings} readings, one every {seconds(summary.interval.interval_s)}. The shortest event "
            f"that is sure to show is {seconds(shortest)}: shorter ones may be missed, or look shallower than they "
            f"were.{_repeated(summary.interval)}{_timed(summary.interval)} {summary.watch.breaks}".rstrip()
        )


def _figures(summary: ChannelSummary) -> str:
    """Return the channel's figures in one sentence, with what they leave out."""
    found = summary.statistics
    out = left_out(found, summary.doubtful)
    without = f" Left out: {out}." if out else ""
    if found.minimum is None:
        return f"no figures.{without}"
    words = statistics_words(found, summary.channel.quantity.unit, summary.resolution)
    told = ", ".join(f"{name} {word}" for name, word in zip(HEADINGS, words, strict=True))
    return f"{told}.{without}"


def _repeated(interval: Interval) -> str:
    """Return a sentence on how often the display changes, where it is read faster than that; else ''."""
    if interval.readings_a_look <= 1.0:
        return ""
    look_s = interval.readings_a_look * interval.interval_s
    return f" The display itself changes every {seconds(look_s)}: readings in between repeat what it showed."


def _timed(interval: Interval) -> str:
    """Return a sentence on the error of the readings' times; '' where that is negligible."""
    if interval.time_error_s < _NEGLIGIBLE_TIME_ERROR * interval.interval_s:
        return ""
    return (
        f" Several came under one time: each time is known to {seconds(interval.time_error_s)} either way, which every"
        " error stated here includes."
    )


def _damaged(summary: ChannelSummary) -> str:
    """Return a sentence on what arrived damaged over the line; '' where nothing is known to have."""
    rejected, doubtful = summary.channel.rejected, summary.doubtful
    parts = []
    if rejected:
        parts.append(f"{count(rejected, 'damaged frame')} thrown away")
    if doubtful:
        parts.append(
            f"{count(doubtful, 'reading')} kept but not believed (one flipped bit on the line would"
            " explain it, and the next reading does not confirm it)"
        )
    return f"{', '.join(parts)}: look at the cable and the line settings." if parts else ""


def _span(length_s: float) -> str:
    if length_s < _SHORT_S:
        return f"{length_s:.1f} s"
    hours = length_s >= HOUR_S
    return f"{from_start(length_s, hours=hours)} ({'h:min:s' if hours else 'min:s'})"
