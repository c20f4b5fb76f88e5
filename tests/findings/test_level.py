"""The level of a channel while something flows: no one reading decides it, however few there are."""

from __future__ import annotations

import numpy as np
import pytest

from meterlog.findings.level import upper_level
from meterlog.reading import Accuracy
from meterlog.series import Series


@pytest.mark.parametrize("count", [3, 5, 20, 50, 99, 500])
@pytest.mark.parametrize("wrong", [92.6, 1260.0, 0.0, -126.0])
def test_one_wrong_reading_is_not_the_level(count: int, wrong: float) -> None:
    value = np.full(count, 12.6)
    value[count // 3] = wrong
    times_s = np.arange(count, dtype=np.float64)
    level = upper_level(Series(times_s, value, np.full(count, 0.01, "f4"), np.zeros(count, "u2")), Accuracy())
    assert level is not None
    assert level.value == 12.6
