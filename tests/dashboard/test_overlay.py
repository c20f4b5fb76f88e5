"""Events of many sessions laid over each other at their beginning."""

from __future__ import annotations

import base64
import json
import shutil
from pathlib import Path

import numpy as np
from plotly.utils import PlotlyJSONEncoder

from meterlog.loaded import load
from meterlog_dashboard.compare.overlay import Found, overlay_figure, overlay_page
from meterlog_dashboard.frame.view import Context
from meterlog_dashboard.gate.access import LOOPBACK, Access

RECORDINGS = Path(__file__).parents[2] / "recordings"
DRIVE = "drive-intermittent.sqlite"


def test_each_event_begins_at_0() -> None:
    session = load(RECORDINGS / DRIVE)
    dropouts = [(n, e) for n, e in enumerate(session.analysis.events, 1) if e.kind == "dropout"]
    assert len(dropouts) == 4
    figure = overlay_figure([Found(DRIVE, session, n, e) for n, e in dropouts], "V")
    assert len(figure["data"]) == 4
    for trace in figure["data"]:
        times, values = (
            np.frombuffer(base64.b64decode(trace[key]["bdata"]), "<" + trace[key]["dtype"]) for key in ("x", "y")
        )
        assert values[times < -0.4].min() > 13
        assert values[(times > -0.4) & (times < 0.5)].min() < 8


def test_the_page_counts_them_over_the_folder_and_leads_to_each(tmp_path: Path) -> None:
    for name in ("one.sqlite", "two.sqlite"):
        shutil.copy(RECORDINGS / DRIVE, tmp_path / name)
    context = Context.of(tmp_path, Access(LOOPBACK, 80, lan=None, announce=lambda _: None))
    for _ in range(200):
        if not context.listed.so_far()[1]:
            break
    said = json.dumps(overlay_page(context, {"kind": "dropout"}), cls=PlotlyJSONEncoder)
    assert "8 dropouts in 2 sessions" in said
    assert "/sessions/two.sqlite?event=3&from=" in said
    nothing = json.dumps(overlay_page(context, {"kind": "dropout", "words": "zebra"}), cls=PlotlyJSONEncoder)
    assert "No dropout, of 0 sessions looked through." in nothing
    assert "No <b>" in json.dumps(overlay_page(context, {"kind": "<b>"}), cls=PlotlyJSONEncoder)
