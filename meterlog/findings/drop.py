"""Voltage drop while current flows: read across a part, or as the difference of two channels at the same instants."""

from __future__ import annotations

import itertools
import math

import numpy as np
from numpy.typing import NDArray

from meterlog.findings.allowed_drop import drop_figure
from meterlog.findings.evidence import Evidence
from meterlog.findings.finding import Finding
from meterlog.findings.judgement import judge
from meterlog.findings.level import Level, level_of, resolution_of, upper_level
from meterlog.findings.line import limit_lines
from meterlog.findings.regulated import lower_by_design
from meterlog.findings.same_instants import Instants, difference, same_instants
from meterlog.reading import Quantity
from meterlog.roles import Role
from meterlog.series import Series
from meterlog.session.model import Channel
from meterlog.signal.interval import reading_interval
from meterlog.text.figures import shown

_LEAST = 3
"""Fewer same instants than this are no measurement; default, unverified."""


def findings(evidence: Evidence) -> list[Finding]:
    """One finding for each channel across a part, and for each pair of channels that follow each other."""
    found = [_across(evidence, c) for c in evidence.playing(Role.DROP)]
    found += [_between(evidence, first, second) for first, second in fed_pairs(evidence)]
    return [finding for finding in found if finding is not None]


def fed_pairs(evidence: Evidence) -> list[tuple[Channel, Channel]]:
    """Pairs of channels along one feed, in the order they were recorded, the battery first."""
    fed = sorted(evidence.playing(Role.SUPPLY), key=lambda c: not c.measurand.is_battery)
    return list(itertools.pairwise(fed))


def instants_while_on(evidence: Evidence, first: Channel, second: Channel) -> Instants:
    """The same instants of a pair at which both stand at a quarter of the system voltage or more: fed, not off."""
    instants = same_instants(evidence.series(second), evidence.series(first))
    on = np.minimum(instants.first, instants.second) >= evidence.limits.system_v / 4
    swapped = instants.where(on)
    return Instants(swapped.time_s, swapped.second, swapped.first, swapped.error)


def level_across(evidence: Evidence, channel: Channel) -> tuple[Level | None, bool]:
    """Return the drop of a channel across a part, and whether it is known to be of the loaded circuit.

    Where nothing tells when current flows, it is the drop where it is greatest.
    """
    loaded, series = while_loaded(evidence, channel), evidence.series(channel)
    if loaded is None:
        return upper_level(series, channel.accuracy), False
    return level_of(series, channel.accuracy, loaded), True


def _across(evidence: Evidence, channel: Channel) -> Finding | None:
    figure = evidence.limits.figure(drop_figure(channel))
    series = evidence.series(channel)
    level, loaded = level_across(evidence, channel)
    if level is None:
        return None
    limit = f"at most {figure.number():g} V ({figure.meaning})"
    highest = math.copysign(figure.number(), level.value)
    lines = limit_lines(channel.number, (highest, highest), "highest drop with current flowing")
    if level.high == 0.0 and level.low == 0.0:
        text = f"{channel.label}: a drop of exactly 0 V means that no current flows, or a bad probe contact."
        return Finding(text, limit, figure.cite(), "cannot tell", channel=channel.number, lines=lines)
    drop = shown(abs(level.value), "V", level.error)
    verdict = judge(abs(level.value), level.error, high=figure.span())
    if loaded:
        text = f"{channel.label}: voltage drop {drop} while the circuit is loaded."
        return Finding(text, limit, figure.cite(), *verdict, channel=channel.number, lines=lines)
    if abs(level.value) < evidence.limits.system_v / 2:
        text = f"{channel.label}: voltage drop {drop} where it is greatest."
        return Finding(text, limit, figure.cite(), *verdict, channel=channel.number, lines=lines)
    closed = level_of(series, channel.accuracy, while_closed(series, evidence.limits.system_v))
    if closed is not None and abs(closed.value) > closed.error:
        verdict = judge(abs(closed.value), closed.error, high=figure.span())
        text = f"{channel.label}: voltage drop {shown(abs(closed.value), 'V', closed.error)} while it is closed."
        text += f" The {drop} at other times are the supply across what is open, with no current: no drop."
        return Finding(text, limit, figure.cite(), *verdict, channel=channel.number, lines=lines)
    text = f"{channel.label}: {drop}, nearly the whole supply, stands across it: it is open there (a fuse: blown)"
    if channel.measurand.names("relay", "switch", "contact", "side"):
        text += ", or simply not switched on at the time. Record the load's current or its feed as well."
        return Finding(text, limit, figure.cite(), "cannot tell", channel=channel.number, lines=lines)
    return Finding(f"{text}.", limit, figure.cite(), *verdict, channel=channel.number, lines=lines)


def while_loaded(evidence: Evidence, channel: Channel) -> NDArray[np.bool_] | None:
    """Tell which readings fall within a prime that another channel shows, its outermost readings left out.

    None where no other channel shows one: then nothing says when current flows.
    """
    times = evidence.series(channel).time_s
    edge_s = reading_interval(times).interval_s
    primes = [
        event
        for other in (*evidence.playing(Role.SUPPLY), *evidence.of(Quantity.DC_CURRENT))
        for event in evidence.events_of(other, "prime_pulse")
    ]
    chosen = np.zeros(len(times), np.bool_)
    for event in primes:
        chosen |= (times > event.start_s + edge_s) & (times < event.end_s)
    return chosen if chosen.any() else None


def while_closed(series: Series, system_v: float) -> NDArray[np.bool_]:
    """Tell which readings of a channel across a part are its low state, where the high one is the supply across an
    opening.

    The outer readings of each stretch are left out, as they may be partial, and so is what is too short to be steady.
    """
    low = np.isfinite(series.value) & (np.abs(series.value) < system_v / 2)
    inner = low.copy()
    inner[1:] &= low[:-1]
    inner[:-1] &= low[1:]
    return inner if inner.sum() >= _LEAST else np.zeros(len(low), np.bool_)


def _between(evidence: Evidence, first: Channel, second: Channel) -> Finding | None:
    instants = instants_while_on(evidence, first, second)
    if len(instants) < _LEAST:
        return None
    counts = (resolution_of(evidence.series(first)), resolution_of(evidence.series(second)))
    drop, error = difference(instants, first.accuracy, second.accuracy, counts)
    figure = evidence.limits.figure("feed_drop_max_v" if first.measurand.is_battery else "drop_circuit_max_v")
    verdict = judge(drop, error, high=figure.span())
    text = (
        f"From {first.label} to {second.label}: {shown(drop, 'V', error)} of voltage drop at the same "
        f"{len(instants)} instants, both steady and fed."
    )
    if drop < -error:
        text += " It is negative: the points are the other way round, or a meter reads wrong."
    elif verdict.verdict == "cannot tell" or error > figure.number() / 2:
        text += " The difference of two meters carries both their errors: one meter across the part tells more."
    limit = f"at most {figure.number():g} V ({figure.meaning})"
    found = Finding(text, limit, figure.cite(), *verdict, channel=second.number)
    design = lower_by_design(second, float(np.median(instants.second)))
    return found if found.verdict != "outside" or design is None else found.unless(design)
