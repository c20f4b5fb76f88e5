"""A folder of sessions, some with a prime, that the tests collect, and the tables of what they collected."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from meterlog.fleet.tables import TABLES, key_of
from meterlog.reading import Quantity
from meterlog.series import Series
from meterlog.session.writer import SessionWriter

Write = Callable[..., Path]


def table(dataset: Path, name: str) -> pd.DataFrame:
    """Read a table of a dataset, in an order of its own."""
    frame = pd.read_parquet(dataset / name)
    order = [key for key in (key_of(name), "number", "channel", "time_s") if key in frame]
    parted = {column: frame[column].astype(str) for column in ("month", "vehicle_kind")}
    return frame.assign(**parted).sort_values(order, ignore_index=True)


def everything(dataset: Path) -> dict[str, pd.DataFrame]:
    """Read all tables of a dataset."""
    return {name: table(dataset, name) for name in TABLES}


@pytest.fixture
def write(tmp_path: Path) -> Write:
    """Write a session with a prime of some level into the folder `sessions`."""

    def _write(name: str, level_v: float = 12.0, *, month: int = 1, system_v: str = "12") -> Path:
        path = tmp_path / "sessions" / f"{name}.sqlite"
        path.parent.mkdir(exist_ok=True)
        path.unlink(missing_ok=True)
        time_s = np.arange(0.0, 8.0, 0.25)
        value = np.where((time_s >= 2.0) & (time_s < 4.0), level_v, 0.0)
        details = {"vehicle": f"van {name}", "system_v": system_v, "temperature_c": "-5"}
        began = datetime(2026, month, 5, tzinfo=UTC)
        with SessionWriter.create(path, started_at=began, details=details) as writer:
            feed = writer.add_channel("pump feed", Quantity.DC_VOLTAGE, driver="text")
            writer.append_series(feed, Series(time_s, value, np.full(32, 0.01, "f4"), np.zeros(32, "u2")))
            writer.add_marker(1.9, "key-on")
        return path

    return _write
