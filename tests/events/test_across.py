"""A meter across a part reads a drop, one from a feed to ground reads the supply: told by label and test point."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from meterlog.events.across import spans_a_part
from meterlog.events.detect import detect
from meterlog.reading import Quantity
from meterlog.series import Series
from meterlog.session.model import Channel


@pytest.mark.parametrize(
    ("label", "point", "across"),
    [
        ("feed side drop", "", True),
        ("", "a3:b7", True),
        ("across the fuse", "", True),
        ("pump ground", "", True),
        ("meter 1", "battery_plus to plug_feed", True),
        ("meter 1", "battery to fuse_out, key on", True),
        ("meter 2", "plug_ground to battery_minus", True),
        ("pump feed", "", False),
        ("pump feed", "plug_feed to plug_ground", False),
        ("pump feed", "plug_feed to battery_minus", False),
        ("battery", "battery_plus to body", False),
        ("supply", "feed wire to the pump", False),
        ("power", "wire to pump", False),
    ],
)
def test_by_its_words(label: str, point: str, across: bool) -> None:
    assert spans_a_part(Channel(1, label, Quantity.DC_VOLTAGE, point)) == across


def test_a_drop_test_over_a_relay_gives_no_dropout_while_the_relay_is_closed() -> None:
    time_s: NDArray[np.float64] = 0.33 * np.arange(200, dtype=np.float64)
    volts = np.where((time_s > 30) & (time_s < 40), 0.4, 12.4)
    series = Series(time_s, volts, np.full(200, 0.01, "f4"), np.zeros(200, "u2"))
    assert detect(Channel(1, "meter 1", Quantity.DC_VOLTAGE, "battery_plus to plug_feed"), series) == []
    assert [e.kind for e in detect(Channel(1, "meter 1", Quantity.DC_VOLTAGE, "plug_feed"), series)] == ["dropout"]
