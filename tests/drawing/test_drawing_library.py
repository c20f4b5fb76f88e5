"""The drawing script that is shipped is the one that was checked."""

from __future__ import annotations

import hashlib

from meterlog.drawing import drawing_library

SHA256 = "99784e3abfb07b142a15e521a439e6d9addceadb3f79553fd24c72774f0649ba"
"""Of the file in the package `plotly.js-basic-dist-min`, whose integrity `meterlog/drawing/__init__.py` states."""


def test_the_shipped_script_is_unchanged() -> None:
    assert hashlib.sha256(drawing_library().encode()).hexdigest() == SHA256
