"""Sources whose format itself is coarse or has no sign."""

from __future__ import annotations

from meterlog.findings.evidence import Evidence
from meterlog.findings.finding import Finding
from meterlog.reading import Quantity

_STEPS = {Quantity.DC_VOLTAGE: "15.6 mV (1/64 V)", Quantity.DC_CURRENT: "10 mA"}


def findings(evidence: Evidence) -> list[Finding]:
    """One finding for each channel that came as a standard Bluetooth characteristic."""
    found = []
    for channel in evidence.of(*_STEPS):
        if channel.driver != "gatt" and "decoder=gatt" not in channel.address:
            continue
        text = (
            f"{channel.label}: the standard Bluetooth characteristic has steps of {_STEPS[channel.quantity]} and no "
            "sign: small voltage drops are coarse, and a reversed polarity does not show."
        )
        source = "Bluetooth SIG characteristic definitions (grade A)"
        found.append(Finding(text, "", source, "cannot tell", channel=channel.number))
    return found
