"""Whatever a meter may have shown, it is compared, told and reported, or refused."""

from __future__ import annotations

import itertools
import json

import numpy as np
import pytest

from meterlog.comparing import compare_captures
from meterlog.comparing.comparison_text import as_text
from meterlog.errors import CompareError
from meterlog.loaded import Loaded, load
from meterlog.reading import Quantity
from meterlog.report import build_report
from meterlog.series import Series
from meterlog.session.writer import SessionWriter
from tests.comparing.conftest import Maker

RNG = np.random.default_rng(3)
SHAPES = {
    "one": np.array([12.0]),
    "two": np.array([0.0, 12.0]),
    "nothing": np.full(9, np.nan),
    "overload": np.full(30, np.inf),
    "mixed": np.where(RNG.random(300) < 0.3, np.inf, RNG.normal(1, 0.2, 300)),
    "negative": np.full(50, -12.5),
    "zero": np.zeros(50),
    "wild": RNG.normal(0, 5, 400),
    "pulse": np.where((np.arange(100) > 40) & (np.arange(100) < 60), 12.0, 0.0),
}


@pytest.mark.parametrize("quantity", [Quantity.DC_VOLTAGE, Quantity.DC_CURRENT, Quantity.RESISTANCE])
def test_odd_captures(make: Maker, quantity: Quantity) -> None:
    captures: list[Loaded] = []
    for name, value in SHAPES.items():
        path = make.folder / f"{name}.sqlite"
        with SessionWriter.create(path) as writer:
            number = writer.add_channel("pump drop", quantity)
            unknown = np.full(len(value), np.nan, np.float32)
            times = np.arange(len(value), dtype=np.float64) * 0.1
            writer.append_series(number, Series(times, value, unknown, np.zeros(len(value), np.uint16)))
            for time_s, text in ((0.0, "key-on"), (0.1, "crank"), (0.1, "wiggle"), (0.2, "wiggle")):
                writer.add_marker(time_s, text)
        captures.append(load(path))
    assert build_report(captures).count('class="figure"') >= len(captures)
    told = 0
    for good, suspect in itertools.product(captures, captures):
        try:
            found = compare_captures([good], suspect)
        except CompareError:
            continue
        assert found.verdict.upper() in as_text(found)
        json.dumps(found.as_json(), allow_nan=False)
        told += 1
    assert told > len(SHAPES) ** 2 / 2
