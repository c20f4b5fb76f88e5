"""Voltage drop divided by current at the same instants: the resistance of a part, with its error."""

from __future__ import annotations

import numpy as np

from meterlog.findings.allowed_drop import drop_figure
from meterlog.findings.drop import fed_pairs, instants_while_on
from meterlog.findings.evidence import Evidence
from meterlog.findings.finding import Finding
from meterlog.findings.judgement import judge
from meterlog.findings.level import median_error, resolution_of, upper_level
from meterlog.findings.quotient import quotient
from meterlog.findings.regulated import lower_by_design
from meterlog.findings.same_instants import Instants, difference, same_instants
from meterlog.reading import Quantity
from meterlog.roles import Role
from meterlog.series import Series
from meterlog.session.model import Channel
from meterlog.text.figures import shown

_LEAST = 3
"""Fewer same instants than this are no measurement; default, unverified."""


def findings(evidence: Evidence) -> list[Finding]:
    """One finding for each drop that was recorded together with one current channel."""
    currents = evidence.of(Quantity.DC_CURRENT)
    if len(currents) != 1:
        return []
    found = [_across(evidence, channel, currents[0]) for channel in evidence.playing(Role.DROP)]
    found += [_between(evidence, *pair, currents[0]) for pair in fed_pairs(evidence)]
    return [finding for finding in found if finding is not None]


def _across(evidence: Evidence, channel: Channel, current: Channel) -> Finding | None:
    instants = _flowing(evidence, current, same_instants(evidence.series(current), evidence.series(channel)))
    if len(instants) < _LEAST:
        return None
    drop = abs(float(np.median(instants.second)))
    error = channel.accuracy.error(drop, resolution_of(evidence.series(channel)))
    error += median_error(instants.second) + float(np.median(instants.error))
    name = drop_figure(channel)
    return _finding(evidence, channel.label, (drop, error), current, instants, name, channel)


def _between(evidence: Evidence, first: Channel, second: Channel, current: Channel) -> Finding | None:
    pair = instants_while_on(evidence, first, second)
    if len(pair) < _LEAST:
        return None
    blank = np.full(len(pair), np.nan, np.float32)
    times = Series(pair.time_s, pair.first - pair.second, blank, np.zeros(len(pair), np.uint16))
    instants = _flowing(evidence, current, same_instants(evidence.series(current), times))
    if len(instants) < _LEAST:
        return None
    counts = (resolution_of(evidence.series(first)), resolution_of(evidence.series(second)))
    drop = difference(pair, first.accuracy, second.accuracy, counts)
    label = f"{first.label} to {second.label}"
    name = "feed_drop_max_v" if first.measurand.is_battery else "drop_circuit_max_v"
    found = _finding(evidence, label, drop, current, instants, name, second)
    design = lower_by_design(second, float(np.median(pair.second)))
    return found if found is None or found.verdict != "outside" or design is None else found.unless(design)


def _flowing(evidence: Evidence, current: Channel, instants: Instants) -> Instants:
    """The instants at which at least half of the usual current flows."""
    level = upper_level(evidence.series(current), current.accuracy)
    if level is None or not len(instants):
        return instants.where(np.zeros(len(instants), np.bool_))
    return instants.where(np.abs(instants.first) >= abs(level.value) / 2)


def _finding(
    evidence: Evidence,
    label: str,
    drop: tuple[float, float],
    current: Channel,
    instants: Instants,
    name: str,
    channel: Channel,
) -> Finding | None:
    amperes = abs(float(np.median(instants.first)))
    amperes_error = current.accuracy.error(amperes, resolution_of(evidence.series(current)))
    amperes_error += median_error(instants.first)
    if amperes <= amperes_error:
        return None
    ohms = quotient(*drop, amperes, amperes_error)
    figure = evidence.limits.figure(name)
    allowed = figure.number() / amperes
    source = f"{figure.cite()}; divided by the current (grade D)"
    limit = f"at most {shown(allowed, 'ohm')}: {figure.number():g} V at {shown(amperes, 'A')}"
    if channel.measurand.names("relay contact") and channel.measurand.role is Role.DROP:
        contact = evidence.limits.figure("contact_max_ohm")
        allowed, source, limit = (
            contact.number(),
            contact.cite(),
            f"at most {shown(contact.number(), 'ohm')} ({contact.meaning})",
        )
    verdict = judge(ohms.middle, ohms.half, high=(allowed, allowed))
    text = (
        f"{label}: {shown(drop[0], 'V', drop[1])} at {shown(amperes, 'A', amperes_error)} is a resistance of "
        f"{ohms.said('ohm')}."
    )
    return Finding(text, limit, source, *verdict, channel=channel.number)
