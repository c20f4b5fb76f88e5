"""A report's words and rows about one session, ready for the page."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta

from meterlog.comparing.comparison import ChannelComparison, Comparison
from meterlog.display_check import check_key, conversion_key, fixed_error_key
from meterlog.drawing.primitives import Figure
from meterlog.drawing.row import limit_notes
from meterlog.events.event import Event
from meterlog.findings.finding import Finding
from meterlog.findings.level import resolution_of
from meterlog.kinds import KINDS
from meterlog.loaded import Loaded
from meterlog.reading import Accuracy
from meterlog.report.figures import band_figure, channel_figure
from meterlog.roles import role_key
from meterlog.session.model import Channel
from meterlog.sides import Sides
from meterlog.signal.statistics_text import HEADINGS, left_out, statistics_words
from meterlog.text.figures import displayed, seconds, shown

MOST_ROWS = 200
"""Events listed; more are counted. A choice, as those below: a report is read on a few pages."""
_MOST_CLOSE_UPS = 3
"""Close-up plots a channel."""
_MOST_PASSES = 4
"""Passes drawn over the band of the known-good, a channel."""
_CLOSE_UP_FROM_S = 60.0
"""In a capture shorter than this the whole plot shows an event well enough, s."""

_DETAIL_WORDS = {
    "vehicle": "vehicle",
    "complaint": "complaint",
    "point": "test point",
    "system_v": "system voltage, V",
    "temperature_c": "temperature, °C",
}

ENDED = {"growing": "The recording was still running when this report was made."}


@dataclass(frozen=True, slots=True)
class Plot:
    """A figure with its caption and what it shows, for those who cannot see it."""

    figure: Figure
    caption: str


@dataclass(frozen=True, slots=True)
class SessionPart:
    """One session's part of the report."""

    title: str
    side: str
    file: str
    started: str
    length: str
    ended: str
    details: list[tuple[str, str]]
    channels: list[dict[str, str]]
    findings: list[Finding]
    plots: list[Plot]
    events: list[dict[str, str]]
    events_left_out: int
    markers: list[dict[str, str]]
    outages: list[dict[str, str]]
    unseen: list[str]
    limits: str
    comparison: Comparison | None
    not_compared: str
    comparison_plots: list[Plot]


def session_part(capture: Loaded, comparison: Comparison | None, not_compared: str = "", side: str = "") -> SessionPart:
    """Everything about one session.

    Args:
        capture: the session.
        comparison: of it, or of all sessions up to it; None for none.
        not_compared: why there is no comparison where one was wanted.
        side: `before` or `after` where it is one of those.
    """
    analysis = capture.analysis
    numbered = list(enumerate(analysis.events, 1))
    events = [_event_row(capture, number, event) for number, event in numbered[:MOST_ROWS]]
    assumed = f" ({analysis.limits.assumed})" if analysis.limits.assumed else ""
    return SessionPart(
        title=capture.path.stem,
        side=side,
        file=capture.path.name,
        started=capture.started_at.isoformat(" ", "seconds"),
        length=seconds(capture.duration_s),
        ended=" ".join(capture.notes) or ENDED.get(capture.ended, ""),
        details=_details(capture),
        channels=[_channel_row(capture, channel) for channel in capture.measured],
        findings=analysis.findings,
        plots=_plots(capture, numbered),
        events=events,
        events_left_out=len(numbered) - len(events),
        markers=[_marker_row(capture, marker.time_s, marker.name, marker.note) for marker in capture.markers],
        outages=[
            {"when": _clock(capture, change.time_s), "meter": change.meter, "cause": change.cause}
            for change in capture.link_changes
            if not change.up
        ],
        unseen=[_unseen(capture, channel) for channel in capture.measured],
        limits=f"{analysis.limits.name}{assumed}",
        comparison=comparison,
        not_compared=not_compared,
        comparison_plots=_comparison_plots(comparison),
    )


def _details(capture: Loaded) -> list[tuple[str, str]]:
    """Return what was entered, the usual questions first."""
    first = [key for key in _DETAIL_WORDS if capture.details.get(key)]
    of_channels = (role_key, check_key, conversion_key, fixed_error_key)
    told = {*_DETAIL_WORDS, *(key(channel.number) for channel in capture.measured for key in of_channels)}
    rest = sorted(key for key, value in capture.details.items() if value and key not in told)
    return [(_DETAIL_WORDS.get(key, key.replace("_", " ")), capture.details[key]) for key in (*first, *rest)]


def _channel_row(capture: Loaded, channel: Channel) -> dict[str, str]:
    summary = next(s for s in capture.analysis.channels if s.channel.number == channel.number)
    interval = summary.interval
    words = statistics_words(summary.statistics, channel.quantity.unit, summary.resolution)
    return {
        "label": channel.name,
        "quantity": channel.quantity.words,
        "role": channel.measurand.described,
        "point": channel.place or "not entered",
        "meter": "; ".join(filter(None, [channel.address or channel.driver, channel.meter_notes])),
        "accuracy": accuracy_words(channel.accuracy, channel.quantity.unit),
        "readings": str(summary.readings),
        "interval": "one reading" if math.isnan(interval.interval_s) else seconds(interval.interval_s),
        "left_out": left_out(summary.statistics, summary.doubtful),
        **dict(zip(HEADINGS, words, strict=True)),
    }


def accuracy_words(accuracy: Accuracy, unit: str) -> str:
    """For example `+-(0.5 % + 2 counts)`, with a word where it is the default that nobody checked."""
    fixed = f" + {shown(accuracy.fixed, unit)}" if accuracy.fixed else ""
    words = f"+-({100 * accuracy.share:g} % + {accuracy.counts:g} counts{fixed})"
    return f"{words}, a usual figure, not checked" if accuracy == Accuracy() else words


def _unseen(capture: Loaded, channel: Channel) -> str:
    summary = next(s for s in capture.analysis.channels if s.channel.number == channel.number)
    shortest_s = summary.watch.shortest_while_watched_s
    if math.isnan(shortest_s):
        return f"{channel.label}: a single reading shows nothing about what comes and goes."
    return (
        f"{channel.label}: one reading every {seconds(summary.interval.interval_s)}. An event shorter than "
        f"{seconds(shortest_s)} may be missed, or look shallower than it was. {summary.watch.breaks}"
    ).rstrip()


def _clock(capture: Loaded, time_s: float) -> str:
    moment = capture.started_at + timedelta(seconds=time_s)
    return f"{moment:%H:%M:%S} ({time_s:.1f} s)"


def _marker_row(capture: Loaded, time_s: float, name: str, note: str) -> dict[str, str]:
    return {"when": _clock(capture, time_s), "name": name, "note": note}


def _event_row(capture: Loaded, number: int, event: Event) -> dict[str, str]:
    channel = next(c for c in capture.measured if c.number == event.channel)
    unit, count = channel.quantity.unit, resolution_of(capture.series(channel.number))
    return {
        "number": str(number),
        "when": _clock(capture, event.start_s),
        "kind": KINDS[event.kind].words,
        "channel": channel.name,
        "lasting": "" if event.duration_s is None else shown(event.duration_s, "s", event.duration_error_s),
        "level": _value(event.level, unit, count),
        "extreme": _value(event.extreme, unit, count),
        "detail": event.detail,
    }


def _value(value: float | None, unit: str, count: float) -> str:
    return "" if value is None else displayed(value, unit, count)


def _plots(capture: Loaded, numbered: Sequence[tuple[int, Event]]) -> list[Plot]:
    plots = []
    for channel in capture.measured:
        own = [(n, e) for n, e in numbered if e.channel == channel.number]
        at = f" at {channel.place}" if channel.point else ""
        name = f"{channel.name}{at}"
        limits = "; ".join(limit_notes(capture.analysis.lines(channel.number), channel.quantity.unit))
        dashed = f" Dashed lines are limits: {limits}." if limits else ""
        caption = f"{name}: the whole session. Numbers are those of the events.{dashed}"
        plots.append(Plot(channel_figure(capture, channel, own), caption))
        if capture.duration_s >= _CLOSE_UP_FROM_S:
            plots += [_close_up(capture, channel, number, event, own) for number, event in _worth_a_look(own)]
    return plots


def _worth_a_look(numbered: Sequence[tuple[int, Event]]) -> list[tuple[int, Event]]:
    """The first few events of the channel, faults before others."""
    ranked = sorted(numbered, key=lambda entry: (not KINDS[entry[1].kind].fault, entry[1].start_s))
    shown_kinds = [entry for entry in ranked if KINDS[entry[1].kind].about_circuit]
    return sorted(shown_kinds[:_MOST_CLOSE_UPS], key=lambda entry: entry[0])


def _close_up(capture: Loaded, channel: Channel, number: int, event: Event, own: Sequence[tuple[int, Event]]) -> Plot:
    around_s = max(3.0, 0.5 * (event.end_s - event.start_s))
    window = (max(0.0, event.start_s - around_s), min(capture.duration_s, event.end_s + around_s))
    caption = f"{channel.label}: event {number} ({KINDS[event.kind].words}) close up."
    return Plot(channel_figure(capture, channel, own, window), caption)


def _comparison_plots(comparison: Comparison | None) -> list[Plot]:
    if comparison is None:
        return []
    return [plot for channel in comparison.channels for plot in _band_plots(channel, comparison.sides)]


def _band_plots(channel: ChannelComparison, sides: Sides) -> list[Plot]:
    plots = []
    for band in channel.bands[:_MOST_PASSES]:
        if not len(band.time_s):
            continue
        excursions = [e for e in channel.excursions if e.part == band.part]
        pass_words = "" if band.part is None else f", pass {band.part}"
        caption = f"{channel.label}{pass_words}: {sides.the_other} over {sides.the_reference}."
        plots.append(Plot(band_figure(band, excursions, channel, sides), caption))
    return plots
