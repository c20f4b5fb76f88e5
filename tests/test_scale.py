"""The heights of curves: fixed for a session, one scale for what is alike, a dead line flat."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from meterlog.drawing.row import Row, TimeAxis, Window, draw_row
from meterlog.drawing.scale import fitted_scale, fixed_scale, fixed_scales
from meterlog.loaded import load
from meterlog.reading import Quantity
from meterlog.roles import Role
from meterlog.series import Series
from meterlog.session import SessionWriter
from meterlog.session.model import Channel

VOLTS, AMPS = Quantity.DC_VOLTAGE, Quantity.DC_CURRENT


def series(values: list[float], count: float) -> Series:
    value = np.array(values, np.float64)
    times_s = 0.3 * np.arange(len(value), dtype=np.float64)
    return Series(times_s, value, np.full(len(value), count, "f4"), np.zeros(len(value), "u2"))


@pytest.mark.parametrize(("system_v", "top"), [(6.0, 8.0), (12.0, 16.0), (24.0, 32.0)])
@pytest.mark.parametrize("role", [Role.SUPPLY, Role.CONTROL])
def test_a_supply_goes_from_0_to_its_systems_top(system_v: float, top: float, role: Role) -> None:
    for seen in ((0.0, 0.01), (0.4 * system_v, 1.05 * system_v), (-0.01, system_v)):
        low, high = fixed_scale(VOLTS, role, [seen], 0.01, system_v)
        assert -0.11 * top <= low <= 0 < top <= high <= 1.07 * top


def test_what_lies_beyond_the_top_or_below_0_is_not_cut_off() -> None:
    low, high = fixed_scale(VOLTS, Role.SUPPLY, [(-11.8, 19.2)], 0.01, 12.0)
    assert low < -11.8
    assert high > 19.2


@pytest.mark.parametrize("role", [Role.SUPPLY, Role.DROP, Role.OTHER])
def test_a_dead_line_that_wavers_by_a_count_is_flat(role: Role) -> None:
    for low, high in (fixed_scale(VOLTS, role, [(-0.01, 0.01)], 0.01, 12.0), fitted_scale((-0.01, 0.01), 0.01)):
        assert 0.02 / (high - low) < 0.09


def test_a_drop_is_not_drawn_as_a_supply() -> None:
    assert fixed_scale(VOLTS, Role.DROP, [(0.02, 0.31)], 0.001, 12.0)[1] < 0.6


def test_readings_of_no_system_and_negative_currents_fill_their_scale() -> None:
    low, high = fixed_scale(AMPS, Role.CURRENT, [(-5.2, -0.1)], 0.01, 12.0)
    assert low < -5.2
    assert 0 < high < 1
    assert fixed_scale(Quantity.TEMPERATURE, Role.OTHER, [(81.0, 96.0)], 1.0, 12.0)[0] > 75


def test_no_reading_has_a_scale_too() -> None:
    for quantity in Quantity:
        low, high = fixed_scale(quantity, Role.OTHER, [], 0.0, 12.0)
        assert low < high


def test_channels_of_one_quantity_and_role_share_a_scale(tmp_path: Path) -> None:
    path = tmp_path / "a.sqlite"
    with SessionWriter.create(path) as writer:
        for label, values in (
            ("pump feed", [26.4, 26.4, 0.0]),
            ("relay feed", [26.9, 29.0, 33.5]),
            ("drop", [0.1, 0.2, 0.1]),
        ):
            channel = writer.add_channel(label, VOLTS)
            writer.append_series(channel, series(values * 20, 0.01))
    first, second, drop = fixed_scales(load(path)).values()
    assert first == second
    assert first[1] > 33.5
    assert drop[1] < 2.0


def test_small_currents_are_written_as_their_display_shows_them() -> None:
    window, channel = Window(), Channel(1, "drain", AMPS)
    time = TimeAxis((0.0, 2.0), lambda at: np.asarray(at, float), "%{x:.2f} s")
    scale = fixed_scale(AMPS, Role.CURRENT, [(0.031, 0.0324)], 1e-5, 12.0)
    draw_row(window, "y", Row(channel, series([0.0312, 0.0324] * 4, 1e-5), scale=scale), time)
    assert window.units == ["mA"]
    assert "%{y:.2f} mA" in window.traces[0]["hovertemplate"]
    assert 32.4 < window.heights[0][1] < 40
    assert window.traces[0]["line"]["shape"] == "hv"
