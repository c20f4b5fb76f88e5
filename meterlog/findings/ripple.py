"""AC ripple at the battery: the books disagree, so there is a wide band where nothing can be told."""

from __future__ import annotations

from meterlog.findings.evidence import Evidence
from meterlog.findings.finding import Finding
from meterlog.findings.judgement import judge
from meterlog.findings.level import upper_level
from meterlog.findings.line import Line
from meterlog.reading import Quantity
from meterlog.roles import Role
from meterlog.text.figures import shown


def findings(evidence: Evidence) -> list[Finding]:
    """One finding for each AC voltage channel at the battery or the generator."""
    found = []
    low, high = evidence.limits.value("ripple_good_max_v"), evidence.limits.value("ripple_bad_min_v")
    figure = evidence.limits.figure("ripple_good_max_v")
    for channel in evidence.of(Quantity.AC_VOLTAGE):
        level = upper_level(evidence.series(channel), channel.accuracy)
        if level is None or channel.measurand.role is not Role.SUPPLY:
            continue
        verdict = judge(level.value, level.error, high=(low, high))
        text = f"{channel.label}: {shown(level.value, 'V', level.error)} of AC ripple."
        limit = f"below {1000 * low:g} mV by every book, above {1000 * high:g} mV by none"
        lines = (
            Line(channel.number, low, "ripple that every book accepts"),
            Line(channel.number, high, "ripple that none accepts"),
        )
        found.append(Finding(text, limit, figure.cite(), *verdict, channel.number, lines))
    return found
