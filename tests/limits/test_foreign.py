"""Checks that what is of no system that there are limits for is not judged by a car's."""

from __future__ import annotations

import numpy as np
import pytest

from meterlog.analysis import Analysis, analyze
from meterlog.capture.detection import live_detection
from meterlog.limits import limits_for
from meterlog.reading import Quantity, Reading
from meterlog.roles import Role, measurand
from meterlog.series import Series
from meterlog.session import Channel
from meterlog.session.contents import Contents


def standing(volts: float, *, moving: float = 0.002, seed: int = 1) -> Series:
    """A minute and a half at one level, with a dip of 20 %."""
    time_s = np.arange(0.0, 90.0, 0.3)
    value = volts * (1.0 + moving * np.random.default_rng(seed).standard_normal(len(time_s)))
    value[(time_s > 40) & (time_s < 45)] *= 0.8
    return Series(time_s, value, np.full(len(time_s), 0.01, np.float32), np.zeros(len(time_s), np.uint16))


def analysis(label: str, volts: float, quantity: Quantity = Quantity.DC_VOLTAGE, system_v: str = "") -> Analysis:
    """The analysis of one channel."""
    details = {"system_v": system_v} if system_v else {}
    contents = Contents({1: standing(volts)}, [Channel(1, label, quantity)], (), details, duration_s=90.0)
    return analyze(contents)


@pytest.mark.parametrize(
    ("label", "volts", "system_v"),
    [
        ("cycle battery", 56.0, ""),
        ("battery", 56.0, ""),
        ("traction battery", 700.0, ""),
        ("battery", 700.0, "12"),
        ("motor supply", 480.0, ""),
        ("supply", 30_000.0, ""),
        ("battery", 48.0, "48"),
        ("voltage drop", 3.0, "48"),
    ],
)
def test_another_system_is_not_judged_and_asked_about(label: str, volts: float, system_v: str) -> None:
    """Each was 'outside' by a car's limits; 30,000 V were 'within: no dropout, sag or loss of supply was seen'."""
    found = analysis(label, volts, system_v=system_v)
    assert [finding.verdict for finding in found.findings] == ["cannot tell"]
    assert "not judged: " in found.findings[0].text
    assert "meterlog details SESSION --set system_v=12" in found.findings[0].text
    assert not found.events
    assert found.channels[0].as_json()["role"] == "other"


def test_48_v_as_entered_has_no_limits_and_says_so() -> None:
    found = analysis("battery", 48.0, system_v="48")
    assert "there are no limits for a 48 V system; there are for 12 V, 24 V, 6 V" in found.findings[0].text
    assert found.limits.name.startswith("none, ")
    current = analysis("pump current", 15.0, Quantity.DC_CURRENT, system_v="48")
    assert [finding.verdict for finding in current.findings] == ["cannot tell"]


@pytest.mark.parametrize(("label", "volts"), [("battery", 12.6), ("battery", 25.2), ("battery", 28.5)])
def test_known_systems_are_judged(label: str, volts: float) -> None:
    assert "not judged" not in " ".join(finding.text for finding in analysis(label, volts).findings)


def test_a_fault_for_a_while_does_not_tell_the_system() -> None:
    """12.9 V that stood at 19.8 V for 8 of 60 s were told to be 24 V, and the overvoltage was none."""
    series = standing(12.9)
    series.value[100:140] = 19.8
    assert limits_for({}, [series]).system_v == 12.0


@pytest.mark.parametrize(
    "label", ["solar panel", "USB supply", "traction battery", "drive motor", "mains", "high-voltage battery"]
)
def test_words_of_another_system_choose_no_role(label: str) -> None:
    assert measurand(Quantity.DC_VOLTAGE, label).role is Role.OTHER
    found = analysis(label, 16.0)
    assert {finding.verdict for finding in found.findings} == {"cannot tell"}
    assert any("not judged" in finding.text for finding in found.findings)


@pytest.mark.parametrize("label", ["across the pump", "across the stop lamp", "Across motor"])
def test_across_a_load_is_what_it_is_fed_with(label: str) -> None:
    """Once 12.4 V across a running pump was 'open there (a fuse: blown)'."""
    assert measurand(Quantity.DC_VOLTAGE, label).role is Role.SUPPLY
    assert measurand(Quantity.DC_VOLTAGE, "across the pump relay").role is Role.DROP


def test_a_recording_of_48_v_rings_for_nothing() -> None:
    detector = live_detection({"system_v": "48"})(Channel(1, "battery", Quantity.DC_VOLTAGE))
    value = standing(48.0).value
    readings = [Reading(0.3 * i, float(v), Quantity.DC_VOLTAGE, 0.01) for i, v in enumerate(value)]
    assert [*detector.feed(readings), *detector.finish()] == []
