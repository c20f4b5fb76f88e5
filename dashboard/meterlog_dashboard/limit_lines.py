"""The limits that are drawn into a channel's plot: where they hold, how high they are, what they are called."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from meterlog.events.across import spans_a_part
from meterlog.events.event import Event
from meterlog.findings.element import drop_figure
from meterlog.findings.evidence import Evidence, is_battery, says
from meterlog.limits import Limits
from meterlog.reading import Quantity
from meterlog.session.model import Channel
from meterlog_dashboard.shelf import Held


@dataclass(frozen=True, slots=True)
class LimitLine:
    """One limit in a plot.

    Attributes:
        value: in the channel's unit.
        words: what it is.
        start_s: from where it holds, s; None for the whole session.
        end_s: until where.
    """

    value: float
    words: str
    start_s: float | None = None
    end_s: float | None = None


def limit_lines(held: Held, channel: Channel) -> list[LimitLine]:
    """The limits of a channel, those of its events included."""
    analysis = held.analysis
    events = [event for event in analysis.events if event.channel == channel.number]
    return _standing(channel, analysis.limits) + _of_events(held, channel, events)


def _standing(channel: Channel, limits: Limits) -> list[LimitLine]:
    if channel.quantity is Quantity.DC_VOLTAGE:
        if spans_a_part(channel):
            return [LimitLine(limits.value(drop_figure(channel)), "highest drop with current flowing")]
        return [LimitLine(limits.detection.overvoltage(limits.system_v), "highest voltage")]
    if channel.quantity is Quantity.AC_VOLTAGE:
        low, high = limits.value("ripple_good_max_v"), limits.value("ripple_bad_min_v")
        return [LimitLine(low, "ripple that every book accepts"), LimitLine(high, "ripple that none accepts")]
    if channel.quantity is Quantity.DC_CURRENT:
        if says(channel, "pump"):
            return [LimitLine(limits.value("pump_current_max_a"), "usual highest pump current")]
        if says(channel, "draw", "parasitic", "battery"):
            return [LimitLine(limits.value("draw_asleep_max_a"), "highest draw once asleep")]
    return []


def _of_events(held: Held, channel: Channel, events: Sequence[Event]) -> list[LimitLine]:
    """What each event was judged by, over its own stretch of time."""
    limits = held.analysis.limits
    settings = limits.detection
    evidence = Evidence(held, events, limits)
    found = []
    for event in events:
        pad_s = max(1.0, 0.25 * (event.end_s - event.start_s))
        span = (event.start_s - pad_s, event.end_s + pad_s)
        if event.kind == "dropout" and event.reference is not None:
            share = settings.off_share
            found.append(LimitLine(share * event.reference, f"dropout below, {100 * share:g} %", *span))
        elif event.kind == "sag" and evidence.is_crank(event) and is_battery(channel):
            (low, high), _ = evidence.at_temperature("crank_min_v")
            found.append(LimitLine(low, "lowest while cranking", *span))
            if high > low:
                found.append(LimitLine(high, "lowest while cranking, warm", *span))
        elif event.kind == "sag" and event.reference is not None:
            share = settings.sag_share
            found.append(LimitLine(share * event.reference, f"sag below, {100 * share:g} %", *span))
    return found
