"""Live detection goes by the system voltage as entered, in the words that the later analysis understands."""

from __future__ import annotations

import pytest

from meterlog.capture.detection import LaterDetection, live_detection
from meterlog.errors import LimitsError
from meterlog.reading import Accuracy, Quantity, Reading
from meterlog.session import Channel, Marker


@pytest.mark.parametrize(("entered", "kinds"), [("12", ["overvoltage"]), ("12 V", ["overvoltage"]), ("24 V", [])])
def test_16_volts_are_too_high_only_where_12_were_entered(entered: str, kinds: list[str]) -> None:
    detector = live_detection({"system_v": entered})(
        Channel(1, "battery", Quantity.DC_VOLTAGE, "", "", "", Accuracy(), 0.3)
    )
    readings = [Reading(i * 0.3, 16.0, Quantity.DC_VOLTAGE, 0.01) for i in range(100)]
    assert [event.kind for event in (*detector.feed(readings), *detector.finish())] == kinds


def test_what_came_before_detection_was_imported_is_found_all_the_same() -> None:
    channel = Channel(1, "pump feed", Quantity.DC_VOLTAGE, "", "", "", Accuracy(), 0.3)
    volts = [0.0] * 20 + [12.0] * 7 + [0.0] * 60
    readings = [Reading(i * 0.3, value, Quantity.DC_VOLTAGE, 0.01) for i, value in enumerate(volts)]
    later, at_once = LaterDetection({}), live_detection({})(channel)
    marker = Marker(1, 1.0, "key-on")
    at_once.marker(marker)
    expected = [*at_once.feed(readings), *at_once.finish()]
    assert [event.kind for event in expected] == ["missing_prime", "prime_pulse"]
    detector = later(channel)
    detector.marker(marker)
    assert detector.feed(readings[:40]) == []
    later.load()
    assert [*detector.feed(readings[40:60]), *detector.feed(readings[60:]), *detector.finish()] == expected


def test_a_recording_that_ends_before_detection_was_imported_still_finds() -> None:
    channel = Channel(1, "pump feed", Quantity.DC_VOLTAGE, "", "", "", Accuracy(), 0.3)
    volts = [0.0] * 20 + [12.0] * 7 + [0.0] * 20
    detector = LaterDetection({})(channel)
    detector.feed([Reading(i * 0.3, value, Quantity.DC_VOLTAGE, 0.01) for i, value in enumerate(volts)])
    assert [event.kind for event in detector.finish()] == ["prime_pulse"]


def test_a_system_voltage_without_limits_is_said_when_it_is_imported() -> None:
    with pytest.raises(LimitsError, match="17 V"):
        LaterDetection({"system_v": "17"}).load()
