"""The battery's voltage at rest as its state of charge, with the error that a meter's accuracy makes of it."""

from __future__ import annotations

import numpy as np

from meterlog.findings.evidence import Evidence
from meterlog.findings.finding import Alternative, Finding
from meterlog.findings.judgement import judge
from meterlog.findings.level import Level, level_of
from meterlog.findings.line import around, limit_lines
from meterlog.kinds import KINDS
from meterlog.series import Series
from meterlog.session.model import Channel
from meterlog.text.figures import shown

_LOOK_S = 60.0
_LEAST_S = 1.0
_STEADY_SHARE = 0.01
"""At most the first 60 s and at least 1 s count, and they must keep within 1 %; defaults, unverified."""
_LOADED_V = 0.4
"""Volts by which a good battery stands lower with the ignition and lamps on, V: a guess."""
_IN_USE = Alternative(
    "With something switched on it reads lower than at rest.",
    "What decides: the same with all off for some minutes, or a `key-on` marker that shows that it was off until then.",
)
_NO_BATTERY_SHARE = 0.8
"""Below this share of an empty battery's voltage it is another thing that is read, or off; default, unverified."""


def findings(evidence: Evidence) -> list[Finding]:
    """At most one finding, about the battery before anything was switched on."""
    resting = at_rest(evidence)
    if resting is None:
        return []
    channel, rest, level = resting
    figure = evidence.charge_curve
    low, middle, high = (figure.at(level.value + shift) for shift in (-level.error, 0.0, level.error))
    least = evidence.limits.figure("rest_charge_min")
    verdict = judge((low + high) / 2, (high - low) / 2, low=least.span())
    kind = "an AGM" if figure.name == "rest_charge_agm" else "a flooded"
    text = (
        f"{channel.label}: at rest {shown(level.value, 'V', level.error)}, which is {middle:.0f} % of charge "
        f"({low:.0f} to {high:.0f} %) for {kind} battery. "
        "Surface charge reads higher: lamps on for 15 s, then wait 5 min."
    )
    limit = f"at least {least.number():g} % of charge before anything else is judged"
    volts = figure.where(least.number())
    stretch = around(float(rest.time_s[0]), float(rest.time_s[-1]))
    lines = limit_lines(channel.number, (volts, volts), f"{least.number():g} % of charge at rest", stretch)
    found = Finding(text, limit, f"{figure.cite()}; limit: {least.cite()}", *verdict, channel.number, lines)
    loaded = figure.at(level.value + level.error + _LOADED_V) >= least.number()
    keyed = evidence.marked("key-on") or evidence.marked("crank")
    return [found.unless(_IN_USE) if found.verdict == "outside" and loaded and not keyed else found]


def at_rest(evidence: Evidence) -> tuple[Channel, Series, Level] | None:
    """Return the battery's channel, its readings at rest and their level; None where it was not seen at rest."""
    channel = evidence.battery
    rest = None if channel is None else _before_anything(evidence, channel)
    if channel is None or rest is None:
        return None
    level = level_of(rest, channel.accuracy)
    empty_v = evidence.charge_curve.points[0][0]
    if level is None or not _NO_BATTERY_SHARE * empty_v <= level.value <= evidence.limits.value("rest_full_v"):
        return None
    return channel, rest, level


def _before_anything(evidence: Evidence, channel: Channel) -> Series | None:
    """The steady readings before the first marker, event or other change; None where there is no such rest."""
    series = evidence.series(channel)
    start_s = float(series.time_s[0])
    firsts = [m.time_s for m in evidence.markers]
    firsts += [e.start_s for e in evidence.events if KINDS[e.kind].about_circuit]
    rest = series.between(start_s, min([start_s + _LOOK_S, *firsts]))
    finite = np.isfinite(rest.value)
    if len(rest) < 3 or not finite[:3].all():
        return None
    steady = finite & (np.abs(rest.value - np.median(rest.value[:3])) <= _STEADY_SHARE * np.abs(rest.value))
    rest = rest if steady.all() else rest[: int(np.argmin(steady))]
    if len(rest) < 3 or rest.time_s[-1] - start_s < _LEAST_S:
        return None
    return rest
