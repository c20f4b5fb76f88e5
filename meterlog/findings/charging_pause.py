"""Says of falls from a charging level to a rest level that charging may have ended there, as it does by design."""

from __future__ import annotations

from meterlog.findings.evidence import Evidence
from meterlog.findings.finding import Alternative, Finding
from meterlog.findings.level import resolution_of
from meterlog.roles import Role
from meterlog.text.figures import count, displayed

_BY_DESIGN = "Charging stops and starts by design, with the engine or by its regulator."
_ELSEWHERE = Alternative(
    _BY_DESIGN,
    "What decides: the battery's own voltage at the same instants. Where that stays up, a load pulls this feed down.",
)
_AT_BATTERY = Alternative(
    _BY_DESIGN,
    "What decides: the generator's output at the same instants. Where that stays up, the way between is bad.",
)


def findings(evidence: Evidence) -> list[Finding]:
    """One finding for each supply with such falls."""
    found = []
    for channel in evidence.playing(Role.SUPPLY):
        falls = [event for event in evidence.events_of(channel, "sag") if evidence.may_be_charging_pause(event)]
        if not falls:
            continue
        times = ", ".join(f"{event.start_s:.1f}" for event in falls[:5]) + (" ..." if len(falls) > 5 else "")
        lowest = min(event.extreme or 0.0 for event in falls)
        shown_lowest = displayed(lowest, "V", resolution_of(evidence.series(channel)))
        text = (
            f"{channel.label}: {count(len(falls), 'fall')} from a charging level to that of a battery at rest "
            f"(at {times} s), lowest reading {shown_lowest}."
        )
        limit = f"no fall below {evidence.limits.detection.sag_share:.0%} of the usual level while charging goes on"
        why = _AT_BATTERY if channel.measurand.is_battery else _ELSEWHERE
        found.append(Finding(text, limit, "own choice", "cannot tell", channel=channel.number).unless(why))
    return found
