"""Holds what the session tests share: a session with a known content."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from meterlog.reading import Flag, Quantity
from meterlog.series import Series
from meterlog.session import SessionWriter


def _series(count: int, seed: int = 1) -> Series:
    rng = np.random.default_rng(seed)
    steps_us = rng.integers(90_000, 110_000, count)
    value = np.round(12.0 + 0.05 * rng.standard_normal(count), 2)
    flags = np.full(count, int(Flag.DC), np.uint16)
    over = rng.random(count) < 0.01
    value[over] = np.inf
    flags[over] |= np.uint16(Flag.OVERLOAD)
    return Series(np.cumsum(steps_us) / 1e6, value, np.full(count, 0.01, np.float32), flags)


@pytest.fixture
def make_series() -> Callable[..., Series]:
    """A series like a meter's: `make_series(count, seed=1)`; arrival jitter, two decimals, some overloads."""
    return _series


@pytest.fixture
def format_1(tmp_path: Path) -> Path:
    """A copy of a session of format 1, made by the last version that wrote it: 5000 readings, 0.25 s apart."""
    return Path(shutil.copy(Path(__file__).with_name("format_1.sqlite"), tmp_path))


@pytest.fixture
def session(tmp_path: Path) -> Path:
    """A finished session: 10,000 readings of one channel, two markers, a detail, two link changes."""
    path = tmp_path / "finished.sqlite"
    with SessionWriter.create(path, details={"vehicle": "van"}) as writer:
        channel = writer.add_channel("feed", Quantity.DC_VOLTAGE, point="pump plug", address="sim:x", driver="sim")
        writer.append_series(channel, _series(10_000))
        writer.add_marker(1.0, "key-on")
        writer.add_marker(0.5, "wiggle at plug", "left side")
        writer.add_link_change(0.0, "sim on x", True, "opened", channel)
        writer.add_link_change(9.0, "sim on x", False, "unplugged", channel)
    return path
