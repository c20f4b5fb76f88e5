"""Readings that share their time stamp: each has a time of its own, and events state what that leaves unknown."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from meterlog.cli.main import main
from meterlog.loaded import load

OFF_S = (20.4, 27.9)


def stamp_of(shown_s: float, every_s: float, decimals: int) -> str:
    """Write the time at which readings that come together are stamped."""
    return f"{every_s * (shown_s // every_s):.{decimals}f}"


@pytest.mark.parametrize(
    ("every_s", "decimals"),
    [(1.0, 0), (1.0, 3), (1.0, 6), (1.37, 2), (2.113, 3)],
    ids=["whole seconds", "whole seconds to the ms", "whole seconds to the us", "bundles", "large bundles"],
)
@pytest.mark.parametrize("seed", range(3))
def test_a_dropout_states_what_shared_stamps_leave_unknown(
    every_s: float, decimals: int, seed: int, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    draw = np.random.default_rng(seed)
    shown_s = np.cumsum(draw.uniform(0.3, 0.36, 180))
    volts = np.where((shown_s > OFF_S[0]) & (shown_s < OFF_S[1]), 0.0, 12.5) + draw.integers(-1, 2, 180) / 100
    rows = [f"{stamp_of(at_s, every_s, decimals)},{v:.2f}" for at_s, v in zip(shown_s, volts, strict=True)]
    table, out = tmp_path / "a.csv", tmp_path / "a.sqlite"
    table.write_text("\n".join(["time_s,pump feed", *rows]) + "\n")
    columns = ("--time", "time_s", "--value", "pump feed", "--quantity", "dc_voltage", "--unit", "V")
    assert main(["import", str(table), *columns, "--out", str(out)]) == 0
    assert "several rows share each time stamp" in capsys.readouterr().err
    session = load(out)
    (dropout,) = [event for event in session.analysis.events if event.kind == "dropout"]
    assert dropout.duration_s is not None
    assert dropout.duration_error_s is not None
    assert abs(dropout.duration_s - (OFF_S[1] - OFF_S[0])) <= dropout.duration_error_s < 3 * every_s
    assert np.diff(session.series(1).time_s).min() > 0.1
