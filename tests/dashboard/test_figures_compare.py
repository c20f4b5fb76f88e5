"""The figure of a comparison."""

from __future__ import annotations

import base64
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from meterlog.comparing import compare
from meterlog.comparing.comparison import Band
from meterlog.drawing.reference import thinned
from meterlog_dashboard.compare.figures import compare_figure

RECORDINGS = Path(__file__).parents[2] / "recordings"


def test_the_difference_lies_below_on_the_same_axis_and_excursions_are_marked_in_both() -> None:
    good = [RECORDINGS / f"key-on-good-{n}.sqlite" for n in (1, 2)]
    channel = compare(good, RECORDINGS / "key-on-suspect.sqlite").channels[0]
    figure = compare_figure(channel, channel.bands[0])
    below = [trace for trace in figure["data"] if trace.get("yaxis") == "y2"]
    assert "suspect - known-good" in [trace["name"] for trace in below]
    assert len({trace["x"]["bdata"] for trace in figure["data"]}) == 1
    assert {shape["yref"] for shape in figure["layout"]["shapes"]} == {"y domain", "y2 domain"}
    assert len(figure["layout"]["shapes"]) == 2 * len(channel.excursions)
    values = np.frombuffer(base64.b64decode(below[-1]["y"]["bdata"]), "<f4")
    assert np.nanmin(values) < -2.0
    assert figure["layout"]["yaxis"]["title"]["text"] == "DC voltage, V"


def test_thinning_keeps_a_single_excursion_and_is_small() -> None:
    size = 200_000
    suspect, level = np.full(size, 12.0), np.full(size, 12.0)
    suspect[123_457] = 3.0
    time_s: NDArray[np.float64] = np.arange(size, dtype=np.float64) * 0.1
    one = Band(None, time_s, suspect, level, level - 0.1, level + 0.1, np.full(size, 0.05))
    found = thinned(one)
    assert len(found.time_s) <= 1600
    assert found.suspect.min() == 3.0
    assert (np.diff(found.time_s) >= 0).all()


def test_overload_breaks_the_line() -> None:
    level = np.full(4, 12.0)
    suspect = np.array([12.0, np.inf, np.inf, 12.0])
    one = Band(None, np.arange(4.0), suspect, level, level, level, np.zeros(4))
    assert np.isnan(thinned(one).suspect).tolist() == [False, True, True, False]
