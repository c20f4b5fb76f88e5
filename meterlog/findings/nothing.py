"""States what was not seen, and what these readings could not have shown."""

from __future__ import annotations

import math

from meterlog.findings.evidence import Evidence
from meterlog.findings.finding import Finding
from meterlog.reading import Quantity
from meterlog.roles import Role
from meterlog.session.model import Channel
from meterlog.signal.interval import reading_interval
from meterlog.signal.looks import repeats
from meterlog.text.figures import seconds

_SUPPLY = "dropout, sag or loss of supply"
_LOOKED_FOR = {
    Role.SUPPLY: _SUPPLY,
    Role.DROP: "event",
    Role.CONTROL: "event",
    Role.CURRENT: "dropout, sag or loss of current",
    Role.RESISTANCE: "opening or step of resistance",
}
_QUANTITIES = (Quantity.DC_VOLTAGE, Quantity.DC_CURRENT, Quantity.RESISTANCE, Quantity.CONTINUITY)


def findings(evidence: Evidence) -> list[Finding]:
    """One finding for each channel on which no fault was seen; a dip of the starter is no fault."""
    found = []
    for channel in evidence.of(*_QUANTITIES):
        if channel.measurand.role is not Role.OTHER and not evidence.faults_of(channel):
            found.append(_nothing(evidence, channel))
    return found


def _nothing(evidence: Evidence, channel: Channel) -> Finding:
    series = evidence.series(channel)
    times = series.time_s
    looked_for = _LOOKED_FOR[channel.measurand.role]
    interval = reading_interval(times, series.time_error_s)
    shortest_s = interval._replace(readings_a_look=repeats(series, channel.interval_s)).shortest_visible_s
    watched_s = float(times[-1] - times[0])
    watched_s -= sum(gap.end_s - gap.start_s for gap in evidence.events_of(channel, "gap"))  # nobody looked then
    source = "twice the interval between readings, its jitter and the error of their times (grade D)"
    if math.isnan(shortest_s):
        text = f"{channel.label}: a single reading shows nothing about what comes and goes."
        return Finding(text, "", source, "cannot tell", channel=channel.number)
    text = (
        f"{channel.label}: no {looked_for} was seen in {seconds(watched_s)}. Anything shorter than "
        f"{seconds(shortest_s)} could have passed unseen between these readings."
    )
    if looked_for == _SUPPLY and not _ever_on(evidence, channel):
        text = f"{channel.label}: never on, so no {looked_for} could have shown."
        return Finding(text, "", "", "cannot tell", channel=channel.number)
    limit = f"no {looked_for} longer than {seconds(shortest_s)}"
    return Finding(text, limit, source, "within", channel=channel.number)


def _ever_on(evidence: Evidence, channel: Channel) -> bool:
    return bool((evidence.series(channel).value >= evidence.limits.system_v / 4).any())
