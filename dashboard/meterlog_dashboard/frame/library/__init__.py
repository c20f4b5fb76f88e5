"""The page's library as one file: its parts in their order, without what this page does not need.

One file of 180 kB (compressed) comes sooner over a weak line than eight of 230 kB: browsers ask for six at a time, and
each question costs the line's delay.
"""

from __future__ import annotations

import hashlib
import pkgutil
import re
from pathlib import Path

from dash.fingerprint import check_fingerprint

_SCRIPT = re.compile(r'<script src="/_dash-component-suites/(?P<package>[^/"]+)/(?P<path>[^"?]+)[^"]*"></script>')
_UNUSED = ("dash_table/", "deps/polyfill@")
"""The tables of the library are not used. Its polyfills are for browsers that cannot load the page's own scripts
either, all but one: the runtime of generators beside this file (npm regenerator-runtime 0.14.1, MIT), which the
library was compiled for."""
_RUNTIME = Path(__file__).with_name("regenerator-runtime.js")
_NAME = "dash_renderer-and-parts"
"""Dash looks for the first half of it in the page."""
FOLDER = "/_dash-component-suites/dash/dcc/"
"""The address of the joined file begins so: the library looks beside it for the parts that it loads when needed."""


def joined(scripts: str) -> tuple[str, str]:
    """Join the library's scripts; `scripts` are the elements in which it names them.

    Returns:
        The address of the joined file, which holds a digest, and its text.
    """
    texts = [_RUNTIME.read_text(encoding="utf-8")]
    for found in _SCRIPT.finditer(scripts):
        path, _ = check_fingerprint(found["path"])  # type: ignore[no-untyped-call]
        if not path.startswith(_UNUSED):
            texts.append((pkgutil.get_data(found["package"], path) or b"").decode())
    text = "\n;\n".join(texts)
    return f"{FOLDER}{_NAME}.{hashlib.sha256(text.encode()).hexdigest()[:12]}.js", text


def others(scripts: str) -> str:
    """The elements that name no file of the library."""
    return _SCRIPT.sub("", scripts)
