"""Review shows a value as the live page and the terminal do: with the display's own decimals."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from plotly.utils import PlotlyJSONEncoder

from meterlog.cli.terminal.readout import readout
from meterlog.loaded import load
from meterlog.reading import Quantity, Reading
from meterlog.series import Series
from meterlog.session import SessionWriter
from meterlog_dashboard.review.tables import statistics_table


@pytest.mark.parametrize(("value", "resolution"), [(-0.01, 0.01), (-0.01, 0.001), (0.32, 0.001), (0.0, 0.01)])
def test_the_lowest_value_reads_as_it_did_live(value: float, resolution: float, tmp_path: Path) -> None:
    path = tmp_path / "a.sqlite"
    volts = np.full(10, 12.5)
    volts[4] = value
    with SessionWriter.create(path) as writer:
        channel = writer.add_channel("feed", Quantity.DC_VOLTAGE)
        counts, flags = np.full(10, resolution, "f4"), np.zeros(10, "u2")
        writer.append_series(channel, Series(0.3 * np.arange(10, dtype=np.float64), volts, counts, flags))
    live = readout(Reading(0.0, value, Quantity.DC_VOLTAGE, resolution))
    shown = json.dumps(statistics_table(load(path), (0.0, 3.0)), cls=PlotlyJSONEncoder)
    assert f'"children": "{live}"' in shown
