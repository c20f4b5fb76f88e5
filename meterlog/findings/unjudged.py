"""Channels that nobody has said anything about: they are not judged, and the person is asked what they are."""

from __future__ import annotations

from meterlog.findings.evidence import Evidence
from meterlog.findings.finding import Finding
from meterlog.reading import Quantity
from meterlog.roles import Role, roles_of
from meterlog.session.model import Channel


def findings(evidence: Evidence) -> list[Finding]:
    """One finding for each channel of no known system, and for each voltage channel whose role nothing says."""
    found = [_foreign(channel) for channel in evidence.channels if channel.foreign and roles_of(channel.quantity)]
    channels = evidence.of(Quantity.DC_VOLTAGE, Quantity.AC_VOLTAGE)
    return found + [_ask(channel) for channel in channels if not channel.measurand.said_by]


def _foreign(channel: Channel) -> Finding:
    text = (
        f"{channel.label}: not judged: {channel.foreign}. If it is of one of these, say so: "
        "meterlog details SESSION --set system_v=12 (or 6, or 24); where it stands higher, the meter's range or its "
        "probe's factor is wrong."
    )
    return Finding(text, "", "", "cannot tell", channel=channel.number)


def _ask(channel: Channel) -> Finding:
    choices = " or ".join(f"{role} ({_SAID[role]})" for role in roles_of(channel.quantity))
    text = (
        f"{channel.label}: not judged, since nothing says what it measures. Say it, then analyze again: "
        f"meterlog details SESSION --role {channel.number}=ROLE, where ROLE is {choices}."
    )
    return Finding(text, "", "", "cannot tell", channel=channel.number)


_SAID = {
    Role.SUPPLY: "a feed against ground",
    Role.DROP: "across a part",
    Role.CONTROL: "a coil or a signal",
}
