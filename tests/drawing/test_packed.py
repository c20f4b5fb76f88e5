"""Values are packed for drawing without a word, however large."""

from __future__ import annotations

import base64

import numpy as np

from meterlog.drawing import primitives


def test_a_value_beyond_the_packed_kind_warns_nobody() -> None:
    packed = primitives.packed(np.array([1.0, 1e308]), "f4")
    data = np.frombuffer(base64.b64decode(packed["bdata"]), "<f4")
    assert data.tolist() == [1.0, np.inf]
