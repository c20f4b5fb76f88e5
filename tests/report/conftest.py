"""Sessions to report on, made by hand."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from meterlog.reading import Quantity
from meterlog.series import Series
from meterlog.session.writer import SessionWriter

HOSTILE = '</script><script>window.bad=1</script><img src=x onerror="window.bad=2"><b>& \'quoted\' "text" {{ 7*7 }}'

Make = Callable[..., Path]


@pytest.fixture
def make(tmp_path: Path) -> Make:
    """Make a session: a prime on one channel, and a resistance that opens, with a gap; texts as given."""

    def build(name: str = "session", text: str = "pump feed", details: dict[str, str] | None = None) -> Path:
        path = tmp_path / f"{name}.sqlite"
        start = datetime(2026, 3, 2, 9, 10, tzinfo=UTC)
        with SessionWriter.create(path, details=details or {"system_v": "12"}, started_at=start) as writer:
            time_s = np.concatenate([np.arange(0.0, 12.0, 0.25), np.arange(18.0, 24.0, 0.25)])
            count, none = np.full(len(time_s), 0.01, np.float32), np.zeros(len(time_s), np.uint16)
            fed = np.where((time_s >= 4) & (time_s < 6), 12.4, 0.0)
            number = writer.add_channel(text, Quantity.DC_VOLTAGE, point=text, address=f"text:{text}", driver="text")
            writer.append_series(number, Series(time_s, fed, count, none))
            ohms = np.where((time_s >= 8) & (time_s < 10), np.inf, 1.2)
            flags = np.where(np.isinf(ohms), 1, 0).astype(np.uint16)
            number = writer.add_channel("winding", Quantity.RESISTANCE, driver="text")
            writer.append_series(number, Series(time_s, ohms, count, flags))
            writer.add_marker(4.0, "key-on")
            writer.add_marker(9.0, text, note=text)
            writer.add_link_change(12.0, text, False, text)
        return path

    return build
