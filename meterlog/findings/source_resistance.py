"""The resistance of a source, from its voltage and its current recorded together: how far it falls for each ampere.

At the battery that is its own resistance (a crank with a clamp tells it best), at a fed point the battery's and that of
the way there. No part has to be opened, and offsets of the meters drop out.
"""

from __future__ import annotations

import numpy as np

from meterlog.findings.evidence import Evidence
from meterlog.findings.finding import Alternative, Finding
from meterlog.findings.judgement import judge
from meterlog.findings.level import resolution_of, upper_level
from meterlog.reading import Quantity
from meterlog.roles import Role
from meterlog.series import Series
from meterlog.session.model import Channel
from meterlog.signal.source_line import Readings, SourceLine, source_line
from meterlog.text.figures import shown

_LARGEST_ERROR = 0.5
"""A resistance with a larger error than this share of it is not stated: a choice."""
_CONSTANT_POWER = 0.7
"""From this share of voltage over current on, a load of constant power may be what looks like a source: a guess."""
_ELECTRONICS = Alternative(
    "A load that draws the same power at any voltage, as electronics do, shows the same.",
    "What decides: the voltage at the battery at the same instants.",
)
_METHOD = "regression of the voltage on the current, both with errors (grade D)"


def findings(evidence: Evidence) -> list[Finding]:
    """One finding for each supply voltage that was recorded together with one current, where that changed."""
    currents = [c for c in evidence.of(Quantity.DC_CURRENT) if c.measurand.role is Role.CURRENT]
    if len(currents) != 1:
        return []
    found = [_source(evidence, channel, currents[0]) for channel in evidence.playing(Role.SUPPLY)]
    return [finding for finding in found if finding is not None]


def _source(evidence: Evidence, channel: Channel, current: Channel) -> Finding | None:
    usual = upper_level(evidence.series(current), current.accuracy)
    if usual is None or not usual.value:
        return None
    volts = _readings(evidence.series(channel))
    amperes = _readings(evidence.series(current))
    amperes = amperes._replace(value=np.sign(usual.value) * amperes.value)  # a clamp may be the other way round
    line = source_line(volts, amperes, evidence.limits.system_v / 4)
    if line is None:
        return None
    if line.low_a < 0.0 < line.high_a:  # charged and discharged: nothing tells which way the clamp is
        line = line._replace(ohms=abs(line.ohms))
    error = line.error + abs(line.ohms) * (channel.accuracy.share + current.accuracy.share)
    error += volts.step / (line.high_a - line.low_a)
    if error > _LARGEST_ERROR * abs(line.ohms):
        return None
    return _stated(evidence, channel, current, line, error)


def _stated(evidence: Evidence, channel: Channel, current: Channel, line: SourceLine, error: float) -> Finding:
    span = f"from {shown(line.low_a, 'A')} to {shown(line.high_a, 'A')}, {line.moments} moments"
    if line.ohms < 0:
        text = (
            f"{channel.label} rises with {current.label} ({span}): what feeds it is regulated or driven by pulses, so "
            "no resistance of the source can be told from the two."
        )
        return Finding(text, "", _METHOD, "cannot tell", channel=channel.number)
    at_battery = channel.measurand.is_battery
    what = "the battery's own, its clamps included" if at_battery else "the battery's and that of the way there"
    text = (
        f"{channel.label} falls as {current.label} rises ({span}): a source resistance of "
        f"{shown(line.ohms, 'ohm', error)}, {what}."
    )
    if at_battery:
        text += " No limit is known that holds for every battery: compare it with a good one, equally warm and charged."
        return Finding(text, "", _METHOD, "cannot tell", channel=channel.number)
    figure = evidence.limits.figure("feed_drop_max_v")
    allowed = figure.number() / line.high_a
    verdict = judge(line.ohms, error, high=(allowed, allowed))
    limit = f"at most {shown(allowed, 'ohm')}: {figure.number():g} V at {shown(line.high_a, 'A')}"
    source = f"{figure.cite()}; {_METHOD}"
    found = Finding(text, limit, source, *verdict, channel=channel.number)
    level = upper_level(evidence.series(channel), channel.accuracy)
    alike = level is not None and line.ohms + error >= _CONSTANT_POWER * level.value / line.high_a
    return found.unless(_ELECTRONICS) if found.verdict == "outside" and alike else found


def _readings(series: Series) -> Readings:
    finite = np.isfinite(series.value)
    count = resolution_of(series)
    times, values = (series.time_s, series.value) if finite.all() else (series.time_s[finite], series.value[finite])
    return Readings(times, values, 0.0 if np.isnan(count) else count)
