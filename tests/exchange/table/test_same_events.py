"""A session made of a plain table has the events of the same session recorded live."""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pytest

from meterlog.cli.main import main
from meterlog.loaded import load
from meterlog.roles import role_key

RECORDINGS = sorted((Path(__file__).parents[3] / "recordings").glob("*.sqlite"))
_ABOUT_METER = {"range_change", "held_display", "meter_battery_low"}
"""Kinds that rest on flags of the meter, which a table of times and values has not."""


def _as_table(path: Path, table: Path, number: int) -> None:
    """One channel and the markers as a logger would write them: times to the millisecond, values as shown."""
    session = load(path)
    series = session.series(number)
    lines = [
        (at_s, "OL" if np.isinf(value) else f"{value:.{max(0, round(-np.log10(count))) if count > 0 else 6}f}", "")
        for at_s, value, count in zip(series.time_s, series.value, series.resolution, strict=True)
    ]
    lines += [(marker.time_s, "", marker.name) for marker in session.markers]
    lines.sort(key=lambda line: line[0])
    table.write_text("time_s,v,mark\n" + "".join(f"{at_s:.3f},{value},{mark}\n" for at_s, value, mark in lines))


@pytest.mark.parametrize("path", RECORDINGS, ids=lambda path: path.stem)
def test_an_import_has_the_events_of_the_recording(path: Path, tmp_path: Path) -> None:
    copy = Path(shutil.copyfile(path, tmp_path / path.name))
    live = load(copy)
    for channel in live.channels:
        table, out = tmp_path / "log.csv", tmp_path / "out.sqlite"
        out.unlink(missing_ok=True)
        _as_table(copy, table, channel.number)
        words = ["--time", "time_s", "--value", "v", "--marker", "mark", "--quantity", str(channel.quantity)]
        words += ["--unit", channel.quantity.unit, "--label", channel.label or "v", "--point", channel.point]
        for key, value in live.details.items():
            if not key.startswith(role_key(1)[:-1]):
                words += ["--set", f"{key}={value}"]
        assert main(["import", str(table), *words, "--out", str(out)]) == 0
        wanted = [e for e in live.analysis.events if e.channel == channel.number and e.kind not in _ABOUT_METER]
        found = [e for e in load(out).analysis.events if e.kind not in _ABOUT_METER]
        assert [e.kind for e in found] == [e.kind for e in wanted]
        for mine, theirs in zip(found, wanted, strict=True):
            slack_s = 0.002 + (mine.duration_error_s or 0.0) + (theirs.duration_error_s or 0.0)
            assert abs(mine.start_s - theirs.start_s) <= slack_s
            assert abs(mine.end_s - theirs.end_s) <= slack_s
