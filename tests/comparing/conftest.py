"""Sessions made by hand, in files, as a comparison reads them."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from meterlog.reading import Quantity
from meterlog.series import Series
from meterlog.session.writer import SessionWriter

Shape = Callable[[NDArray[np.float64]], NDArray[np.float64]]


def prime(onset_s: float, level: float = 12.4, length_s: float = 2.0) -> Shape:
    """A supply that is on once."""
    return lambda t: np.where((t >= onset_s) & (t < onset_s + length_s), level, 0.0)


class Maker:
    """Makes session files in one folder."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def __call__(
        self,
        name: str,
        channels: Mapping[str, Shape | float],
        *,
        markers: Sequence[tuple[float, str]] = (),
        details: Mapping[str, str] | None = None,
        length_s: float = 12.0,
        interval_s: float = 0.25,
        window_s: float | None = None,
        quantity: Quantity = Quantity.DC_VOLTAGE,
        seed: int = 0,
    ) -> Path:
        """A session whose channels are functions of time, averaged by the meter, with noise of one count."""
        rng = np.random.default_rng(seed)
        path = self.folder / f"{name}.sqlite"
        path.unlink(missing_ok=True)
        stated = {"system_v": "12"} if details is None else details
        window = interval_s if window_s is None else window_s
        with SessionWriter.create(path, details=stated) as writer:
            for label, shape in channels.items():
                number = writer.add_channel(label, quantity, driver="text")
                time_s = rng.uniform(0, interval_s) + np.arange(0.0, length_s, interval_s)
                fine = time_s[:, None] - window * (np.arange(20) + 0.5) / 20
                values = shape(fine).mean(axis=1) if callable(shape) else np.full(len(time_s), shape)
                values = np.round((values + rng.normal(0, 0.005, len(values))) / 0.01) * 0.01
                count = np.full(len(time_s), 0.01, np.float32)
                writer.append_series(number, Series(time_s, values, count, np.zeros(len(time_s), np.uint16)))
            for time, text in markers:
                writer.add_marker(time, text)
        return path


@pytest.fixture
def make(tmp_path: Path) -> Maker:
    """Makes session files in a folder of the test's own."""
    return Maker(tmp_path)
