"""`meterlog.open_session`: frames for a notebook, and pandas only when it is called."""

from __future__ import annotations

import io
import math
import subprocess
import sys
from datetime import datetime, timedelta, timezone
from pathlib import Path

import pandas as pd
import pytest
from rich.console import Console

import meterlog
from meterlog.errors import UsageError
from meterlog.reading import Flag, Quantity, Reading
from meterlog.session import SessionWriter

RECORDINGS = Path(__file__).parents[2] / "recordings"


def test_frames_markers_events_and_details(session: Path) -> None:
    with meterlog.open_session(session) as opened:
        frame = opened.frame("feed", 0.0, 100.0)
        assert frame.index.name == "time_s"
        assert list(frame.columns) == ["value", "resolution", "flags", "overload"]
        assert frame.attrs["unit"] == "V"
        assert len(opened.frame()) == 10_000
        assert opened.markers["name"].tolist() == ["wiggle at plug", "key-on"]
        assert opened.details == {"vehicle": "van"}
        assert "kind" in opened.events().columns
        assert "feed" in repr(opened)
        with pytest.raises(UsageError, match="no channel 'pump'"):
            opened.frame("pump")


def test_overload_is_nan_with_a_mask_so_that_a_mean_is_one(tmp_path: Path) -> None:
    path = tmp_path / "ohms.sqlite"
    with SessionWriter.create(path) as writer:
        channel = writer.add_channel("winding", Quantity.RESISTANCE)
        for k, value in enumerate((1.0, 3.0, math.inf)):
            flags = Flag.OVERLOAD if math.isinf(value) else Flag(0)
            writer.append(channel, [Reading(0.5 * k, value, Quantity.RESISTANCE, 0.1, flags)])
    with meterlog.open_session(path) as opened:
        frame = opened.frame("winding")
        assert frame["value"].mean() == 2.0
        assert frame["overload"].tolist() == [False, False, True]


def test_channels_side_by_side_in_utc_are_resampled(tmp_path: Path) -> None:
    path = tmp_path / "two.sqlite"
    started = datetime(2026, 3, 2, 10, 0, tzinfo=timezone(timedelta(hours=2)))
    with SessionWriter.create(path, started_at=started, monotonic_start_s=0.0) as writer:
        one, two = (writer.add_channel(label, Quantity.DC_VOLTAGE) for label in ("feed", "battery"))
        for k in range(8):
            writer.append(one, [Reading(0.5 * k, 12.0 + k, Quantity.DC_VOLTAGE, 0.01)])
            writer.append(two, [Reading(0.5 * k + 0.1, 13.0, Quantity.DC_VOLTAGE, 0.01)])
    with meterlog.open_session(path) as opened:
        wide = opened.wide()
        assert list(wide.columns) == ["feed", "battery"]
        assert wide.index[0] == pd.Timestamp("2026-03-02 08:00:00", tz="UTC")
        assert len(wide) == 16
        seconds = wide.resample("1s").mean()
        assert seconds["feed"].tolist() == [12.5, 14.5, 16.5, 18.5]
        assert seconds["battery"].tolist() == [13.0] * 4


def test_a_session_shows_itself_and_its_figure() -> None:
    with meterlog.open_session(RECORDINGS / "key-on-suspect.sqlite") as opened:
        console = Console(width=100, record=True, file=io.StringIO())
        console.print(opened)
        shown = console.export_text()
        assert "pump feed" in shown
        assert "█" in shown
        assert "<td>pump feed</td>" in opened._repr_html_()
        assert set(opened.findings["verdict"]) <= {"within", "outside", "cannot tell"}
        figure = opened.plot("pump feed")
        assert len(figure.data) >= 1
        assert figure.layout.xaxis.range[1] == pytest.approx(opened.reader.duration_s)


def test_a_comparison_and_a_diagnosis_are_frames() -> None:
    good = [RECORDINGS / "key-on-good-1.sqlite", RECORDINGS / "key-on-good-2.sqlite"]
    compared = meterlog.compare(good, RECORDINGS / "key-on-suspect.sqlite")
    assert compared.verdict == "different"
    level = compared.measures.set_index("measure").loc["prime level"]
    assert level["difference"] == pytest.approx(level["suspect"] - level["good"])
    diagnosed = meterlog.diagnose(
        "pump-feed", measured=[{"quantity": "voltage", "at": "battery_plus", "to": "battery_minus", "value": 12.6}]
    )
    assert diagnosed.chances["probability"].between(0, 1).all()
    assert len(diagnosed.next)


def test_a_diagnosis_names_what_it_could_not_use(tmp_path: Path) -> None:
    path = tmp_path / "elsewhere.sqlite"
    with SessionWriter.create(path) as writer:
        channel = writer.add_channel("radio", Quantity.DC_VOLTAGE)
        writer.append(channel, [Reading(0.5 * k, 12.0, Quantity.DC_VOLTAGE, 0.01) for k in range(8)])
    (sentence,) = meterlog.diagnose("pump-feed", path).left_out
    assert "radio" in sentence
    assert meterlog.diagnose("pump-feed", [path]).left_out == (sentence,)
    assert meterlog.diagnose("pump-feed", [path], str(path)).left_out == (sentence, sentence)


def test_a_recording_is_made_and_analyzed_from_python(tmp_path: Path) -> None:
    with meterlog.record("sim:healthy-prime?seed=7", tmp_path / "a.sqlite", 1.0, details={"vehicle": "van"}) as opened:
        assert opened.details["vehicle"] == "van"
        assert len(opened.frame()) >= 2
    assert meterlog.analyze(tmp_path / "a.sqlite").channels


def test_every_public_name_is_there_and_explained() -> None:
    assert all(getattr(meterlog, name).__doc__ for name in meterlog.__all__)
    assert all(callable(getattr(meterlog, name)) for name in meterlog.__all__ if name != "__version__")


def test_the_capture_path_loads_no_pandas() -> None:
    program = (
        "import sys, meterlog, meterlog.session, meterlog.cli.mark, meterlog.cli.sessions\n"
        "print([name for name in ('pandas', 'pyarrow', 'scipy', 'plotly', 'dash') if name in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_a_recording_begins_without_arrays() -> None:
    begun = "import sys, meterlog.cli.record; print('numpy' in sys.modules)"
    asked = "from meterlog.session import SessionReader, add_marker, open_reader; print('numpy' in sys.modules)"
    said = subprocess.run([sys.executable, "-c", f"{begun}; {asked}"], capture_output=True, text=True, check=True)
    assert said.stdout.split() == ["False", "True"], said.stderr
