"""`analyze`: the JSON exactly as promised, and a text that a person reads in ten seconds."""

from __future__ import annotations

import json
import sqlite3
from pathlib import Path

import numpy as np
import pytest

from meterlog.cli import main
from meterlog.reading import Quantity
from meterlog.series import Series
from meterlog.session import SessionWriter, open_reader
from meterlog.session.model import HARD_END


@pytest.fixture
def session(tmp_path: Path) -> Path:
    """A pump feed with a key-on, its prime, and a drive with one dropout."""
    time_s = np.asarray(np.arange(0.1, 60.0, 0.25), dtype=np.float64)
    on = ((time_s > 5) & (time_s < 7)) | ((time_s > 15) & ~((time_s > 40) & (time_s < 42)))
    value = np.where(on, 12.4, 0.0)
    count = len(time_s)
    path = tmp_path / "drive.sqlite"
    with SessionWriter.create(path) as writer:
        channel = writer.add_channel("pump feed", Quantity.DC_VOLTAGE)
        writer.append_series(
            channel, Series(time_s, value, np.full(count, 0.01, np.float32), np.zeros(count, np.uint16))
        )
        writer.add_marker(4.8, "key-on")
    return path


def test_the_json_is_one_object_with_the_promised_keys(session: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["analyze", str(session), "--json"]) == 0
    result = json.loads(capsys.readouterr().out)
    assert list(result) == ["session", "started_at", "duration_s", "channels", "events", "findings"]
    assert list(result["channels"][0]) == [
        "channel", "label", "quantity", "unit", "readings", "interval_s", "shortest_visible_s",
        "watched_s", "time_error_s", "minimum", "maximum", "mean", "median", "last", "slope_per_s",
        "overloads", "doubtful", "rejected_frames", "role", "checked", "converted",
    ]  # fmt: skip
    assert result["channels"][0]["interval_s"] == pytest.approx(0.25)
    assert list(result["events"][0]) == [
        "kind", "channel", "start_s", "end_s", "duration_s", "duration_error_s", "level", "extreme", "reference",
        "detail",
    ]  # fmt: skip
    assert [event["kind"] for event in result["events"]] == ["prime_pulse", "dropout"]
    prime = result["events"][0]
    assert abs(prime["duration_s"] - 2.0) <= prime["duration_error_s"]
    assert {finding["verdict"] for finding in result["findings"]} <= {"within", "outside", "cannot tell"}


def test_the_text_says_what_happened_in_time_order(session: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["analyze", str(session)]) == 0
    text = capsys.readouterr().out
    assert text.index("-- key-on") < text.index("PRIME") < text.index("DROPOUT") < text.index("Findings")
    assert "12.40 V" in text
    assert "The shortest event that is sure to show is 0.50 s" in text


def test_nothing_found_states_what_could_have_been_seen(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    time_s = np.asarray(np.arange(0.1, 60.0, 0.33), dtype=np.float64)
    path = tmp_path / "quiet.sqlite"
    with SessionWriter.create(path) as writer:
        channel = writer.add_channel("battery", Quantity.DC_VOLTAGE)
        count = len(time_s)
        writer.append_series(
            channel,
            Series(time_s, np.full(count, 12.6), np.full(count, 0.01, np.float32), np.zeros(count, np.uint16)),
        )
    assert main(["analyze", str(path)]) == 0
    text = capsys.readouterr().out
    assert "Nothing found" in text
    assert "sure to show is 0.66 s" in text


@pytest.mark.parametrize("content", [b"", b"no session at all"])
def test_what_is_no_session_is_one_line(tmp_path: Path, content: bytes, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "x.sqlite"
    path.write_bytes(content)
    assert main(["analyze", str(path), "--json"]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err.count("\n") == 1


def test_an_absent_limits_file_is_one_line(session: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["analyze", str(session), "--limits", "nowhere.toml"]) == 2
    assert capsys.readouterr().err.count("\n") == 1


def test_an_empty_session_is_one_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "empty.sqlite"
    SessionWriter.create(path).close()
    assert main(["analyze", str(path)]) == 2
    assert capsys.readouterr().err.count("\n") == 1


def test_a_hard_end_is_told_beside_the_json(session: Path, capsys: pytest.CaptureFixture[str]) -> None:
    connection = sqlite3.connect(session, isolation_level=None)
    connection.execute("UPDATE recording SET ended = 'hard'")
    connection.close()
    assert main(["analyze", str(session), "--json"]) == 0
    told = capsys.readouterr()
    assert json.loads(told.out)["events"]
    assert told.err == f"note: {HARD_END}\n"


def test_the_figures_of_every_channel_are_said_and_the_lowest_is_among_them(
    session: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["analyze", str(session), "--json"]) == 0
    channel = json.loads(capsys.readouterr().out)["channels"][0]
    with open_reader(session) as reader:
        value = reader.series(1).value
    assert (channel["minimum"], channel["maximum"], channel["last"]) == (value.min(), value.max(), value[-1])
    assert channel["mean"] == pytest.approx(value.mean())
    assert channel["median"] == np.median(value)
    assert (channel["overloads"], channel["doubtful"]) == (0, 0)
    assert main(["analyze", str(session)]) == 0
    text = " ".join(capsys.readouterr().out.split())
    assert f"lowest {value.min():.2f} V, highest {value.max():.2f} V, mean {value.mean():.2f} V" in text


def test_a_log_of_days_reads_as_clocks_do_and_sums_up_its_many_gaps(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """It listed each of 1513 gaps as 'no readings for 58002.0 s', '(min:s)' over hours, and events 'at 60432.0 s'."""
    time_s = np.asarray(np.arange(0.0, 30 * 3600.0, 2.0), dtype=np.float64)
    value = np.where((time_s > 80_000.0) & (time_s < 80_010.0), 0.0, 12.6)
    keep = (time_s % 3600.0 > 60.0) | (time_s < 60.0)
    path = tmp_path / "days.sqlite"
    with SessionWriter.create(path) as writer:
        channel = writer.add_channel("pump feed", Quantity.DC_VOLTAGE)
        kept = np.count_nonzero(keep)
        counts, flags = np.full(kept, 0.01, np.float32), np.zeros(kept, np.uint16)
        writer.append_series(channel, Series(time_s[keep], value[keep], counts, flags))
        writer.add_marker(-3.2, "key-on")
    assert main(["analyze", str(path)]) == 0
    text = capsys.readouterr().out
    assert "29:59:58.0 (h:min:s)" in text
    assert "-0:00:03.2" in text
    assert text.count("no readings for") == 1
    assert "(29 times in all, 31 min together)" in text
    assert "at 22:13:20.8, h:min:s" in text


def test_two_readings_do_not_show_that_nothing_happened(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """It was 'within': no dropout in 5 min; 'anything shorter than 11 min could have passed unseen'."""
    path = tmp_path / "two.sqlite"
    with SessionWriter.create(path) as writer:
        channel = writer.add_channel("pump feed", Quantity.DC_VOLTAGE)
        two = np.full(2, 0.01, np.float32), np.zeros(2, np.uint16)
        writer.append_series(channel, Series(np.array([0.0, 320.0]), np.full(2, 12.6), *two))
    assert main(["analyze", str(path)]) == 0
    text = capsys.readouterr().out
    assert "[within]" not in text
    assert "could have shown for certain: the readings come up to 5 min apart" in text
