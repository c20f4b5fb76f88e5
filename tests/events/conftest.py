"""Holds what the tests of the detectors share: a log made of levels, read by a meter of a known kind."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
import pytest

from meterlog.events.detect import detect
from meterlog.events.event import Event
from meterlog.events.settings import DetectionSettings
from meterlog.reading import Flag, Quantity
from meterlog.series import Series
from meterlog.session.model import Channel, Marker

Steps = Sequence[tuple[float, float]]
Log = Callable[..., Series]
Found = Callable[..., list[Event]]


@pytest.fixture
def log() -> Log:
    """Make a log of (level, seconds) steps: `window` is the averaging window as a share of the interval."""

    def make(steps: Steps, interval_s: float = 0.25, window: float = 1.0, offset_s: float = 0.1) -> Series:
        edges = np.concatenate([[0.0], np.cumsum([seconds for _, seconds in steps])])
        levels = np.array([level for level, _ in steps])
        times = np.arange(offset_s + interval_s, edges[-1], interval_s)

        def area(at: np.ndarray) -> np.ndarray:
            reached = np.clip(at[:, None] - edges[None, :-1], 0.0, np.diff(edges)[None, :])
            return np.asarray(np.sum(np.where(reached > 0.0, reached * levels[None, :], 0.0), axis=1))

        if window > 0.0:
            width = window * interval_s
            value = (area(times) - area(times - width)) / width
        else:
            value = levels[np.searchsorted(edges[1:], times, "left")]
        value = np.where(np.isfinite(value), np.round(value, 2), np.inf)
        flags = np.where(np.isfinite(value), 0, int(Flag.OVERLOAD)).astype(np.uint16)
        return Series(times, value, np.full(len(times), 0.01, np.float32), flags)

    return make


@pytest.fixture
def found(log: Log) -> Found:
    """Return what is found in a log of steps: see `log`."""

    def find(
        steps: Steps,
        *marks: tuple[float, str],
        quantity: Quantity = Quantity.DC_VOLTAGE,
        label: str = "pump feed",
        settings: DetectionSettings | None = None,
        **meter: float,
    ) -> list[Event]:
        markers = [Marker(k, at, name) for k, (at, name) in enumerate(marks, 1)]
        return detect(Channel(1, label, quantity), log(steps, **meter), markers, settings)

    return find
