"""Says what a current that was interrupted means: alone nothing certain, with the voltage at the load which side it is.

A load that is switched off reads as one that fails. The voltage at the load at the same instant decides: while it
stands, the load or its ground is open; when it goes too, the supply went.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Literal, NamedTuple

import numpy as np

from meterlog.events.event import Event
from meterlog.findings.evidence import Evidence
from meterlog.findings.finding import Alternative, Finding, Verdict
from meterlog.findings.level import resolution_of, upper_level
from meterlog.findings.line import Line, around
from meterlog.reading import Quantity
from meterlog.roles import Role
from meterlog.session.model import Channel
from meterlog.text.figures import count, displayed, shown

_BEFORE_S = 5.0
"""The voltage before an interruption is taken from so long before it, s: a choice."""
_GROUND_SWITCHED = ("injector", "coil", "solenoid", "valve", "relay", "heater", "fan")
"""Loads often switched on their ground side (unverified): voltage without current is no fault there."""
_SOURCE = "voltage right and no current: the load, or its ground (makers' service manuals, grade A)"
_ALONE = "makers' service manuals (grade A): voltage and current together tell the load from its supply"
_SWITCHED = Alternative(
    "A load that is switched off reads the same, and one driven by pulses (PWM) may.",
    "What decides: the voltage at the load's own connector at the same instant, recorded as a second channel.",
)

_ON_GROUND_SIDE = Alternative(
    "Such a load is often switched on its ground side, and then was switched off.",
    "What decides: the voltage across the load's own two terminals; switched off it is 0 V.",
)
_Said = Literal["present", "gone", "unknown"]
_MEANWHILE: tuple[tuple[_Said, str], ...] = (
    ("present", "stood meanwhile{of}: what is open lies beyond that point, the load, its connector or its ground."),
    ("gone", "was gone too{of}: it is the supply's, not the load's, or was switched."),
)


class _Off(NamedTuple):
    """A stretch without current: when it began and ended, s; `back` where the current returned."""

    start_s: float
    end_s: float
    back: bool


def findings(evidence: Evidence) -> list[Finding]:
    """One finding for each current channel that was interrupted, or went off and stayed off."""
    found = []
    for channel in evidence.of(Quantity.DC_CURRENT):
        if channel.measurand.role is not Role.CURRENT:
            continue
        events = evidence.events_of(channel, "interruption")
        stretches = [_Off(event.start_s, event.end_s, True) for event in events]
        stretches += _stayed_off(evidence, channel)
        if stretches:
            found.append(_judged(evidence, channel, events, stretches))
    return found


def _judged(evidence: Evidence, channel: Channel, events: list[Event], stretches: list[_Off]) -> Finding:
    share = evidence.limits.detection.interruption_share
    said = [(fed.label, [_voltage(evidence, fed, one) for one in stretches]) for fed in _at_load(evidence)]
    stood = any("present" in voltages for _, voltages in said)
    text = _what(evidence, channel, events, stretches) + "".join(_beside(label, voltages) for label, voltages in said)
    limit = f"no fall of the current to {share:.0%} of its level or less while the load is fed"
    verdict: Verdict = "outside" if stood else "cannot tell"
    lines = tuple(_lines(evidence, channel, events))
    found = Finding(text, limit, _SOURCE if stood else _ALONE, verdict, channel=channel.number, lines=lines)
    if stood and channel.measurand.names(*_GROUND_SWITCHED):
        return found.unless(_ON_GROUND_SIDE)
    known = any(one != "unknown" for _, voltages in said for one in voltages)
    return found if known else found.unless(_SWITCHED)


def _beside(label: str, voltages: list[_Said]) -> str:
    """Say what the voltage at a place did meanwhile."""
    text = ""
    for said, words in _MEANWHILE:
        times = voltages.count(said)
        of = f" at {times} of {len(voltages)}" if len(voltages) > 1 else ""
        text += f" The voltage at '{label}' {words.format(of=of)}" if times else ""
    return text


def _what(evidence: Evidence, channel: Channel, events: list[Event], stretches: list[_Off]) -> str:
    text = f"{channel.label}:"
    if events:
        times = ", ".join(f"{e.start_s:.1f}" for e in events[:5]) + (" ..." if len(events) > 5 else "")
        text += f" the current was interrupted {count(len(events), 'time')} (at {times} s)"
        timed = sorted((e.duration_s, e.duration_error_s) for e in events if e.duration_s is not None)
        lengths = list(dict.fromkeys(shown(duration_s, "s", error_s) for duration_s, error_s in timed))
        text += f", lasting {lengths[0]}" + (f" to {lengths[-1]}" if len(lengths) > 1 else "") if lengths else ""
        least = min(event.extreme or 0.0 for event in events)
        text += f", down to {displayed(least, 'A', resolution_of(evidence.series(channel)))}."
    last = stretches[-1]
    if not last.back:
        text += f" The current went off at {last.start_s:.1f} s and did not come back before the end."
    return text


def _stayed_off(evidence: Evidence, channel: Channel) -> list[_Off]:
    """The stretch to the end of the readings without current, after it had flowed for longer than a prime."""
    settings, series = evidence.limits.detection, evidence.series(channel)
    level = upper_level(series, channel.accuracy)
    if level is None or abs(level.value) < settings.on_at_least_a:
        return []
    flowing = np.flatnonzero(np.abs(series.value) > settings.interruption_share * abs(level.value))
    last = int(flowing[-1])
    on_s = evidence.watches[channel.number].on_s or 0.0
    primes_s = sum(e.end_s - e.start_s for e in evidence.events_of(channel, "prime_pulse"))
    if any(marker.time_s <= series.time_s[last] for marker in evidence.marked("key-off")):
        return []  # it was switched off
    if len(series) - last <= 2 or on_s - primes_s <= settings.prime_longest_s:
        return []
    if any(e.end_s >= series.time_s[last - 1] for e in evidence.events_of(channel, "prime_pulse")):
        return []
    return [_Off(float(series.time_s[last]), float(series.time_s[-1]), False)]


def _at_load(evidence: Evidence) -> list[Channel]:
    """The voltage channels of what is fed: the battery has its voltage also while a load is switched off."""
    return [channel for channel in evidence.playing(Role.SUPPLY) if not channel.measurand.is_battery]


def _voltage(evidence: Evidence, channel: Channel, off: _Off) -> _Said:
    """Return what the voltage of a channel did while no current flowed, from readings wholly inside."""
    settings, series = evidence.limits.detection, evidence.series(channel)
    interval_s = evidence.watches[channel.number].interval.interval_s
    before = series.between(off.start_s - _BEFORE_S, off.start_s - interval_s).value
    inside = series.between(off.start_s + 2 * interval_s, off.end_s - interval_s / 2).value
    before, inside = before[np.isfinite(before)], inside[np.isfinite(inside)]
    if not len(before) or not len(inside):
        return "unknown"
    usual = float(np.median(before))
    if usual < settings.on_at_least_v:
        return "unknown"
    if float(inside.min()) >= settings.sag_share * usual:
        return "present"
    return "gone" if float(np.median(inside)) <= settings.off_share * usual else "unknown"


def _lines(evidence: Evidence, channel: Channel, events: list[Event]) -> Iterator[Line]:
    share = evidence.limits.detection.interruption_share
    for event in events:
        if event.reference is not None:
            words = f"interrupted below, {share:.0%} of usual"
            yield Line(channel.number, share * event.reference, words, *around(event.start_s, event.end_s))
