"""The drawing script that is shipped is the one that was checked, and the same version as the drawing library's own."""

from __future__ import annotations

import hashlib
import re

from plotly.offline import get_plotlyjs_version

from meterlog.drawing import drawing_library

SHA256 = "99784e3abfb07b142a15e521a439e6d9addceadb3f79553fd24c72774f0649ba"
"""Of the file in the package `plotly.js-basic-dist-min`, whose integrity `meterlog/drawing/__init__.py` states."""


def test_the_shipped_script_is_unchanged() -> None:
    assert hashlib.sha256(drawing_library().encode()).hexdigest() == SHA256


def test_its_version_is_the_librarys_own() -> None:
    found = re.search(r"plotly\.js \(basic - minified\) v([\d.]+)", drawing_library())
    assert found is not None
    assert found[1] == get_plotlyjs_version()
