"""Sources whose format itself is coarse or has no sign."""

from __future__ import annotations

import numpy as np

from meterlog.findings.evidence import Evidence
from meterlog.findings.finding import Finding
from meterlog.findings.level import thin
from meterlog.reading import Quantity
from meterlog.session import Channel

_STEPS = {Quantity.DC_VOLTAGE: (1 / 64, "15.6 mV (1/64 V)"), Quantity.DC_CURRENT: (0.01, "10 mA")}


def findings(evidence: Evidence) -> list[Finding]:
    """One finding for each channel that came as a standard Bluetooth characteristic."""
    found = []
    for channel in evidence.of(*_STEPS):
        if not _is_standard(evidence, channel):
            continue
        text = (
            f"{channel.label}: the standard Bluetooth characteristic has steps of {_STEPS[channel.quantity][1]} and no "
            "sign: small voltage drops are coarse, and a reversed polarity does not show."
        )
        source = "Bluetooth SIG characteristic definitions (grade A)"
        found.append(Finding(text, "", source, "cannot tell", channel=channel.number))
    return found


def _is_standard(evidence: Evidence, channel: Channel) -> bool:
    """By its step: no display counts in 1/64 V, replayed or not; meters' own characteristics may be fine and signed."""
    resolution = thin(evidence.series(channel)).resolution
    if not np.isclose(resolution, _STEPS[channel.quantity][0], rtol=1e-6).all():
        return False
    from_gatt = channel.driver == "gatt" or "decoder=gatt" in channel.address
    return from_gatt or channel.quantity is Quantity.DC_VOLTAGE
