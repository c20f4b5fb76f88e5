"""Figures as a person writes them."""

from __future__ import annotations

import math

import pytest

from meterlog.circuit.words import figure, ohm_band, span


@pytest.mark.parametrize(
    ("value", "unit", "said"),
    [
        (7.0, "V", "7 V"),
        (12.34, "V", "12.3 V"),
        (0.05, "V", "50 mV"),
        (-0.0, "V", "0 V"),
        (0.0004, "A", "0.4 mA"),
        (0.036, "ohm", "36 mohm"),
        (999.6, "ohm", "1 kohm"),
        (1800.0, "ohm", "1.8 kohm"),
        (250e3, "ohm", "250 kohm"),
        (40e6, "ohm", "40 Mohm"),
        (math.inf, "ohm", "open"),
    ],
)
def test_no_figure_is_a_power_of_ten(value: float, unit: str, said: str) -> None:
    assert figure(value, unit) == said


@pytest.mark.parametrize(
    ("band", "said"),
    [
        ((0.42, 1.93), ", 0.42 to 1.9 ohm"),
        ((320.0, 1800.0), ", 320 ohm to 1.8 kohm"),
        ((1800.0, 5200.0), ", 1.8 to 5.2 kohm"),
        ((13.2, 2e6), ", 13 ohm or more"),
        ((2.5e5, math.inf), ", 250 kohm or more"),
        ((math.inf, math.inf), ""),
        (None, ""),
    ],
)
def test_a_band_of_ohms_reads_like_speech(band: tuple[float, float] | None, said: str) -> None:
    assert ohm_band(band) == said


@pytest.mark.parametrize(
    ("low", "high", "unit", "said"),
    [(0.0, 12.0, "V", "0 to 12 V"), (12.4, 12.4, "V", "12.4 V"), (320, 1800, "ohm", "320 ohm to 1.8 kohm")],
)
def test_two_figures_share_their_unit(low: float, high: float, unit: str, said: str) -> None:
    assert span(low, high, unit) == said
