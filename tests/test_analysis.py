"""The whole analysis over a session-like object: channels, events over several channels, and the system voltage."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from meterlog.analysis import analyze
from meterlog.limits import load_limits
from meterlog.reading import Quantity
from meterlog.series import Series
from meterlog.session.contents import Contents
from meterlog.session.model import Channel, LinkChange, Marker


def memory(readings: dict[int, Series], channels: list[Channel], **more: Any) -> Contents:
    """A session that is only in memory."""
    started_at = datetime(2024, 5, 4, 12, 0, tzinfo=UTC)
    told = {"path": Path("memory"), "started_at": started_at, "duration_s": 60.0, **more}
    return Contents(readings, channels, **told)


def series_of(*steps: tuple[float, float]) -> Series:
    value = np.concatenate([np.full(round(seconds * 4), float(level)) for level, seconds in steps])
    time_s = np.asarray(np.arange(len(value)) * 0.25, dtype=np.float64)
    return Series(time_s, value, np.full(len(value), 0.01, np.float32), np.zeros(len(value), np.uint16))


def test_events_of_all_channels_stand_in_time_order() -> None:
    channels = [Channel(1, "battery", Quantity.DC_VOLTAGE), Channel(2, "pump feed", Quantity.DC_VOLTAGE)]
    session = memory({1: series_of((12.6, 20), (9.9, 2), (12.5, 20)), 2: series_of((0, 5), (12, 2), (0, 35))}, channels)
    result = analyze(session)
    assert [(e.kind, e.channel) for e in result.events] == [("prime_pulse", 2), ("sag", 1)]
    assert [c.readings for c in result.channels] == [168, 168]


def test_the_stated_system_voltage_decides_what_is_too_much() -> None:
    channel = Channel(1, "battery", Quantity.DC_VOLTAGE)
    readings = {1: series_of((0.0, 5), (16.0, 10), (0.0, 5))}
    assert "overvoltage" in [e.kind for e in analyze(memory(readings, [channel])).events]
    stated = memory(readings, [channel], details={"system_v": "24"})
    assert "overvoltage" not in [e.kind for e in analyze(stated).events]
    assert "overvoltage" not in [e.kind for e in analyze(memory(readings, [channel]), load_limits("truck-24v")).events]


@pytest.mark.parametrize("n", [0, 1])
def test_channels_with_hardly_a_reading_have_no_interval_and_valid_json(n: int) -> None:
    session = memory({1: series_of((12.0, 5))[:n]}, [Channel(1, "x", Quantity.DC_VOLTAGE)])
    text = json.dumps(analyze(session).as_json(), allow_nan=False)
    assert json.loads(text)["channels"][0]["interval_s"] is None


def test_overload_leaves_no_infinity_in_the_json() -> None:
    series = series_of((0.4, 10), (np.inf, 3), (0.4, 10))
    session = memory({1: series}, [Channel(1, "feed wire", Quantity.RESISTANCE)])
    result = json.loads(json.dumps(analyze(session).as_json(), allow_nan=False))
    assert [event["kind"] for event in result["events"]] == ["open_circuit"]


def test_a_link_that_was_lost_while_armed_is_a_gap_for_nothing_would_have_been_caught() -> None:
    first, second = series_of((12.5, 10)), series_of((12.5, 10))
    kept = Series(
        np.concatenate([first.time_s, second.time_s + 3600.0]),
        *(np.concatenate([getattr(one, name) for one in (first, second)]) for name in ("value", "resolution", "flags")),
    )
    session = memory(
        {1: kept}, [Channel(1, "pump feed", Quantity.DC_VOLTAGE)], markers=[Marker(1, 10.0, "armed", "", "capture")]
    )
    assert analyze(session).events == []
    session.link_changes = [
        LinkChange(0.0, 1, "meter", True, "first reading"),
        LinkChange(1000.0, 1, "meter", False, "/dev/x is gone: unplugged or switched off"),
        LinkChange(1090.0, 1, "meter", True, "readings again"),
        LinkChange(1200.0, None, "another", False, "gone"),
    ]
    (event,) = analyze(session).events
    assert (event.kind, event.start_s, event.end_s, event.duration_s) == ("gap", 1000.0, 1090.0, 90.0)
    assert event.detail == "no readings for 90.0 s while it was armed: /dev/x is gone: unplugged or switched off"


def test_a_link_that_is_down_at_the_end_is_a_gap_of_unknown_length() -> None:
    session = memory({1: series_of((12.5, 10))}, [Channel(1, "pump feed", Quantity.DC_VOLTAGE)], duration_s=12.0)
    session.link_changes = [
        LinkChange(0.0, 1, "meter", True, "first reading"),
        LinkChange(12.0, 1, "meter", False, "no frame from status14 on /dev/x for 2.6 s"),
    ]
    result = analyze(session)
    (event,) = result.events
    assert (event.kind, event.start_s, event.end_s, event.duration_s) == ("gap", 12.0, 12.0, None)
    assert event.detail == "no readings from here to the end: no frame from status14 on /dev/x for 2.6 s"
    assert any("1 gap (at 12.0 s), the last to the end without readings" in f.text for f in result.findings)
