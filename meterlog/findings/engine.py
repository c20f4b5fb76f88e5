"""All kinds of findings, in the order in which a person wants to read them."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from meterlog.events.event import Event
from meterlog.events.watch import Watch
from meterlog.findings import (
    association,
    bluetooth_steps,
    charging,
    charging_pause,
    crank,
    crossed_leads,
    current,
    draw,
    drop,
    faults,
    interruption,
    lone_reading,
    nothing,
    ohms,
    prime,
    resistance,
    rest,
    ripple,
    source_resistance,
    stands_low,
    unjudged,
)
from meterlog.findings.evidence import Evidence
from meterlog.findings.finding import Finding
from meterlog.limits.limits import Limits
from meterlog.session.contents import Contents

KINDS: tuple[Callable[[Evidence], list[Finding]], ...] = (
    faults.findings,
    stands_low.findings,
    crossed_leads.findings,
    interruption.findings,
    lone_reading.findings,
    association.findings,
    prime.findings,
    crank.findings,
    drop.findings,
    resistance.findings,
    source_resistance.findings,
    current.findings,
    rest.findings,
    charging.findings,
    charging_pause.findings,
    ripple.findings,
    draw.findings,
    ohms.findings,
    nothing.findings,
    bluetooth_steps.findings,
    unjudged.findings,
)
"""One kind of finding a file."""

_ORDER = ("outside", "cannot tell", "within")


def findings(session: Contents, events: Sequence[Event], limits: Limits, watches: Mapping[int, Watch]) -> list[Finding]:
    """Everything that can be said about a session, what is outside its limit first.

    Args:
        session: all that it holds.
        events: what the analyzer found in it.
        limits: to judge by.
        watches: what was watched on each channel, by its number.
    """
    evidence = Evidence(session, events, limits, watches)
    found = [finding for kind in KINDS for finding in kind(evidence)]
    return sorted(found, key=lambda finding: _ORDER.index(finding.verdict))
