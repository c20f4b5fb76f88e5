"""Live detection goes by the system voltage as entered, in the words that the later analysis understands."""

from __future__ import annotations

import pytest

from meterlog.capture.detection import live_detection
from meterlog.reading import Accuracy, Quantity, Reading
from meterlog.session import Channel


@pytest.mark.parametrize(("entered", "kinds"), [("12", ["overvoltage"]), ("12 V", ["overvoltage"]), ("24 V", [])])
def test_16_volts_are_too_high_only_where_12_were_entered(entered: str, kinds: list[str]) -> None:
    detector = live_detection({"system_v": entered})(
        Channel(1, "battery", Quantity.DC_VOLTAGE, "", "", "", Accuracy(), 0.3)
    )
    readings = [Reading(i * 0.3, 16.0, Quantity.DC_VOLTAGE, 0.01) for i in range(100)]
    assert [event.kind for event in (*detector.feed(readings), *detector.finish())] == kinds
