"""Says of a supply that reads negative that the meter's leads are crossed."""

from __future__ import annotations

import numpy as np

from meterlog.findings.evidence import Evidence
from meterlog.findings.finding import Finding
from meterlog.findings.level import level_of, thin
from meterlog.roles import Role
from meterlog.session.model import Channel
from meterlog.text.figures import shown

_MOSTLY = 0.5
"""Where more than this share of the readings that are on are negative, it is the leads and no spike: a choice."""


def findings(evidence: Evidence) -> list[Finding]:
    """One finding for each supply that reads negative while it is on."""
    found = (_crossed(evidence, channel) for channel in evidence.playing(Role.SUPPLY))
    return [finding for finding in found if finding is not None]


def _crossed(evidence: Evidence, channel: Channel) -> Finding | None:
    series = thin(evidence.series(channel))
    least = evidence.limits.detection.on_at_least_v
    negative = series.value <= -least
    on = np.count_nonzero(np.abs(series.value) >= least)
    level = level_of(series, channel.accuracy, negative) if np.count_nonzero(negative) > _MOSTLY * on else None
    if level is None:
        return None
    text = (
        f"{channel.label}: it reads {shown(level.value, 'V', level.error)} while it is on. The meter's leads are "
        "crossed, red on ground: exchange them. Falls and levels are judged by their size, as if they were not crossed."
    )
    return Finding(text, "above 0 V", "polarity of a negative-ground vehicle", "cannot tell", channel=channel.number)
