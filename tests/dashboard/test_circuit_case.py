"""A case on the circuit view, without a browser."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from meterlog.errors import MeterlogError, UsageError
from meterlog.reading import Quantity, Reading
from meterlog.session.writer import SessionWriter
from meterlog_dashboard.circuit.case import circuit_names, entered_row, live_reading, weigh, without
from meterlog_dashboard.session_files.folder import SessionFolder
from meterlog_dashboard.session_files.session_list import SessionList

FORM = {"quantity": "voltage", "at": "fuse_out", "to": "battery_minus", "state": "key_on", "load": "connected"}
RECORDINGS = Path(__file__).parents[2] / "recordings"


def test_a_dead_point_after_the_fuse_accuses_what_lies_before_it(tmp_path: Path) -> None:
    rows = [entered_row({**FORM, "at": "fuse_in"}, "12,4 V"), entered_row(FORM, "0.02")]
    case = weigh(SessionFolder(tmp_path), "pump-feed", [], rows, dead=True)
    assert case.diagnosis.hypotheses[0].part == "fuse"
    assert case.own == 2
    assert case.diagnosis.next


def test_what_a_session_measured_counts_and_what_it_could_not_is_said() -> None:
    case = weigh(SessionFolder(RECORDINGS), "pump-feed", ["drop-test-bad-ground.sqlite"], [], dead=False)
    assert {m.at for m in case.measured} == {"plug_feed", "plug_ground"}
    assert case.own == 0
    case = weigh(SessionFolder(RECORDINGS), "lamp", ["wiggle-ground-ohms.sqlite"], [], dead=False)
    assert case.left_out


def test_a_direct_feed_that_runs_clears_the_pump(tmp_path: Path) -> None:
    rows: list[dict[str, object]] = [{"feed": "battery", "into": "pump_plus", "result": "runs"}]
    before = weigh(SessionFolder(tmp_path), "pump-feed", [], [], dead=True)
    after = weigh(SessionFolder(tmp_path), "pump-feed", [], rows, dead=True)
    chance = [sum(h.probability for h in c.diagnosis.hypotheses if h.part == "pump") for c in (before, after)]
    assert chance[1] < 0.5 * chance[0]


def test_a_row_is_taken_out_among_those_of_its_kind() -> None:
    rows: list[dict[str, object]] = [
        {"quantity": "voltage", "at": "a"},
        {"result": "runs"},
        {"quantity": "lamp", "at": "b"},
    ]
    assert without(rows, "measured", 1) == rows[:2]
    assert without(rows, "tried", 0) == [rows[0], rows[2]]
    assert without(rows, "tried", 5) == rows


def test_no_circuit_outside_the_folder_is_read(tmp_path: Path) -> None:
    inside = tmp_path / "folder"
    inside.mkdir()
    (tmp_path / "secret.toml").write_text("name = 'x'")
    folder = SessionFolder(inside)
    assert "pump-feed" in circuit_names(folder)
    for name in ("../secret.toml", str(tmp_path / "secret.toml"), "nothing"):
        with pytest.raises(MeterlogError, match="no circuit"):
            weigh(folder, name, [], [], dead=False)


@pytest.mark.skipif(sys.platform == "win32", reason="links need rights there")
def test_a_circuit_that_is_a_link_out_of_the_folder_is_not_followed(tmp_path: Path) -> None:
    inside, outside = tmp_path / "folder", tmp_path / "theirs.toml"
    inside.mkdir()
    outside.write_text("name = 'x'")
    (inside / "linked.toml").symlink_to(outside)
    (inside / "own.toml").write_text("name = 'x'")
    folder = SessionFolder(inside)
    assert {"own.toml"} == {name for name in circuit_names(folder) if name.endswith(".toml")}
    with pytest.raises(MeterlogError, match=r"no circuit 'linked\.toml'"):
        weigh(folder, "linked.toml", [], [], dead=False)


def test_what_is_no_number_is_refused_in_one_sentence() -> None:
    with pytest.raises(UsageError, match="'twelve' is not a number"):
        entered_row(FORM, "twelve")
    with pytest.raises(UsageError, match="not a reading in V"):
        entered_row(FORM, "4.8 A")
    assert entered_row({**FORM, "quantity": "resistance"}, "OL")["value"] == "open"
    assert entered_row({**FORM, "quantity": "resistance"}, "2.2 kohm")["value"] == 2200.0
    assert entered_row(FORM, "300 mV")["value"] == 0.3
    with pytest.raises(UsageError, match="say how bright the lamp is"):
        entered_row({**FORM, "quantity": "lamp"}, "12.4")


def test_a_lamp_is_entered_as_it_is_seen(tmp_path: Path) -> None:
    form = {**FORM, "quantity": "lamp"}
    rows = [entered_row({**form, "at": "fuse_in"}, "bright 5 W"), entered_row(form, "dark")]
    assert rows[0]["watt"] == 5.0
    case = weigh(SessionFolder(tmp_path), "pump-feed", [], rows, dead=True)
    assert case.diagnosis.hypotheses[0].part == "fuse"


def test_the_live_meter_gives_its_newest_reading_of_the_right_quantity(tmp_path: Path) -> None:
    import time

    listed = SessionList(tmp_path)
    with pytest.raises(UsageError, match="no meter is being recorded"):
        live_reading(listed, "voltage")
    start_s = time.monotonic() - 1.0
    with SessionWriter.create(tmp_path / "now.sqlite", monotonic_start_s=start_s) as writer:
        numbers = [writer.add_channel(label, Quantity.DC_VOLTAGE, point=label) for label in ("battery", "fuse_out")]
        for number, volts in zip(numbers, (12.6, 11.9), strict=True):
            writer.append(number, [Reading(start_s + 0.9, volts, Quantity.DC_VOLTAGE, 0.01)])
        deadline_s = time.monotonic() + 60.0
        while time.monotonic() < deadline_s:
            try:
                live = live_reading(listed, "voltage", "fuse_out")
                break
            except UsageError:
                time.sleep(0.05)
        assert (live.value, live.unit, live.text) == (11.9, "V", "11.9")
        with pytest.raises(UsageError, match="no running meter has shown a current"):
            live_reading(listed, "current")
