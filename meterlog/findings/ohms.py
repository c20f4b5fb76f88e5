"""Resistance readings with the meter's leads taken off, and what an open reading proves."""

from __future__ import annotations

import numpy as np

from meterlog.findings.evidence import Evidence
from meterlog.findings.finding import Alternative, Finding
from meterlog.findings.judgement import judge
from meterlog.findings.level import Level, level_of, thin
from meterlog.findings.line import Line
from meterlog.reading import Flag, Quantity
from meterlog.series import Series
from meterlog.session.model import Channel
from meterlog.text.figures import shown

_LEADS_MATTER_OHM = 100.0
"""Above it the leads' 0.2 to 0.6 ohm are less than 1 % (arithmetic)."""

_SENDER = Alternative(
    "The level sender on the same connector reads 3 to 205 ohm, and a worn commutator reads high while it stands.",
    "What decides: the pins by the wiring diagram, and the motor turned a little between readings.",
)


def findings(evidence: Evidence) -> list[Finding]:
    """One finding for each resistance channel."""
    return [_resistance(evidence, c) for c in evidence.of(Quantity.RESISTANCE)]


def _resistance(evidence: Evidence, channel: Channel) -> Finding:
    series = thin(evidence.series(channel))
    level = level_of(series, channel.accuracy)
    if level is None:
        text = (
            f"{channel.label}: open (overload) all along. Either the part is open, or the probe is not touching: "
            "prove the contact first."
        )
        source = "a maker's service manual (grade A)"
        return Finding(text, "a finite resistance", source, "cannot tell", channel=channel.number)
    ohms, error, how = without_leads(evidence, series, level)
    text = f"{channel.label}: {shown(max(ohms, 0.0), 'ohm', error)} {how}."
    if level.value <= 0:
        text += " A reading at or below zero: a foreign voltage falsifies it, or the leads were nulled wrongly."
        return Finding(text, "", "", "cannot tell", channel=channel.number)
    text += " One strand left reads good on ohms and cannot carry the load: prove it by voltage drop."
    if not _is_winding(channel):
        return Finding(text, "", "", "cannot tell", channel=channel.number)
    low, high = evidence.limits.figure("winding_min_ohm"), evidence.limits.figure("winding_max_ohm")
    verdict = judge(ohms, error, low=low.span(), high=high.span())
    limit = f"{low.number():g} to {high.number():g} ohm, {low.meaning.rpartition(',')[0]}"
    leads = level.value - ohms  # the plot shows what the meter showed, its leads included
    lines = (
        Line(channel.number, low.number() + leads, "least for a winding"),
        Line(channel.number, high.number() + leads, "most for a winding"),
    )
    found = Finding(text, limit, low.cite(), *verdict, channel.number, lines)
    sender = found.verdict == "outside" and high.number() < ohms <= evidence.limits.value("sender_max_ohm")
    return found.unless(_SENDER) if sender else found


def _is_winding(channel: Channel) -> bool:
    """Tell whether the label or point names a pump itself and not a way to it: the limits are those of pumps."""
    way = channel.measurand.names("ground", "feed", "wire", "path", "relay", "fuse", "harness", "connector")
    return channel.measurand.names("pump") and (channel.measurand.names("winding") or not way)


def without_leads(evidence: Evidence, series: Series, level: Level) -> tuple[float, float, str]:
    """The resistance less that of the leads, its half-width, and how the leads were dealt with.

    Nulled on the meter (its relative mode), entered as `lead_ohm`, or unknown: then the usual span is taken off and
    widens the error.
    """
    if np.count_nonzero(series.flags & Flag.RELATIVE) > len(series) / 2:
        return level.value, level.error, "(leads nulled on the meter)"
    entered = evidence.number("lead_ohm")
    if entered is not None:
        return level.value - entered, level.error, f"after {entered:g} ohm of leads, as entered"
    if level.value > _LEADS_MATTER_OHM:
        return level.value, level.error + evidence.limits.value("leads_max_ohm"), "(leads do not matter here)"
    low, high = evidence.limits.value("leads_min_ohm"), evidence.limits.value("leads_max_ohm")
    how = f"after {low:g} to {high:g} ohm of leads, which were not nulled (--set lead_ohm=... or null them)"
    return level.value - (low + high) / 2, level.error + (high - low) / 2, how
