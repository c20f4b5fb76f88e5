"""A turn of the dial is named so, live and afterwards, and is no lost link."""

from __future__ import annotations

import re
import time
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest

from meterlog.analysis import analyze
from meterlog.capture import Notice, Recorder
from meterlog.capture.detection import live_detection
from meterlog.capture.meters import meter_setup
from meterlog.cli.main import main
from meterlog.driver import Traffic
from meterlog.reading import Quantity, Reading
from meterlog.session import SessionWriter, open_reader
from meterlog.session.contents import Contents

Script = list[tuple[Quantity | None, float, float]]
VOLTS, OHMS = Quantity.DC_VOLTAGE, Quantity.RESISTANCE


class Silent:
    """A meter of which nothing comes by itself."""

    name = "silent"
    traffic = Traffic(frames_good=1)

    def open(self) -> Silent:
        return self

    def read(self, timeout_s: float) -> list[Reading]:
        time.sleep(min(timeout_s, 0.02))
        return []

    def close(self) -> None:
        """Nothing to let go of."""


@pytest.fixture
def recorded(tmp_path: Path) -> Callable[[Script], tuple[Path, list[Notice]]]:
    """Record a meter that shows quantities, each as (quantity, value, seconds), 4 a second; None is silence."""

    def record(script: Script) -> tuple[Path, list[Notice]]:
        path, notices = tmp_path / "dial.sqlite", list[Notice]()
        writer = SessionWriter.create(path, started_at=datetime(2026, 3, 2, 10, tzinfo=UTC))
        recorder = Recorder(
            [replace(meter_setup("status14:/dev/null?label=feed"), meter=Silent())],
            writer,
            detector=live_detection({}),
            observer=notices.append,
        )
        recorder.start()
        time_s = writer.monotonic_start_s + 0.1
        for quantity, value, seconds in script:
            for _ in range(round(seconds / 0.25)):
                if quantity is not None:
                    recorder.readings(0, [Reading(time_s, value, quantity, 0.01)])
                time_s += 0.25
        outcome = recorder.finish()
        notices += [Notice("event", event.start_s, event.detail, event=event) for event in outcome.events]
        return path, notices

    return record


def test_a_turn_and_its_way_back_are_named_and_no_gap_of_the_link(
    recorded: Callable[[Script], tuple[Path, list[Notice]]], capsys: pytest.CaptureFixture[str]
) -> None:
    path, notices = recorded([(VOLTS, 12.6, 10.0), (OHMS, 4.7, 8.25), (VOLTS, 12.6, 10.0)])
    turned = [notice.text for notice in notices if notice.kind == "dial"]
    assert turned == ["feed: the dial was turned to resistance", "feed: the dial was turned to DC voltage"]
    assert not [notice for notice in notices if "link" in notice.text]
    with open_reader(path) as session:
        analysis = analyze(Contents.of(session))
    assert [(turn.quantity, round(turn.time_s, 2)) for turn in analysis.turns] == [(OHMS, 10.1), (VOLTS, 18.35)]
    (gap,) = analysis.events
    assert "the dial was turned to resistance" in gap.detail
    live = [notice.event for notice in notices if notice.kind == "event" and notice.event is not None]
    assert {event.detail for event in live} == {gap.detail}
    assert main(["analyze", str(path)]) == 0
    text = " ".join(capsys.readouterr().out.split())
    assert re.search(r"0:10\.10 \d\d:\d\d:\d\d dial feed: the dial was turned to resistance", text)
    assert "feed (resistance)" in text
    assert "feed (DC voltage)" in text
    assert "the link to the meter" not in text


def test_a_link_that_fails_is_still_a_gap(recorded: Callable[[Script], tuple[Path, list[Notice]]]) -> None:
    path, _ = recorded([(VOLTS, 12.6, 10.0), (None, 0.0, 10.0), (VOLTS, 12.6, 10.0), (OHMS, 4.7, 10.0)])
    with open_reader(path) as session:
        analysis = analyze(Contents.of(session))
    (gap,) = analysis.events
    assert "the link to the meter" in gap.detail
    assert [turn.quantity for turn in analysis.turns] == [OHMS]
