"""`meterlog.open_session`: frames for a notebook, and pandas only when it is called."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

import meterlog
from meterlog.errors import UsageError


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
