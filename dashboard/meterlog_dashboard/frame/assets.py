"""Serves the scripts and styles that lie beside the views.

Scripts are modules of the browser; they come as one file (`bundle.py`), and so do the styles. The address holds a
digest of them all, so a browser keeps them and asks for none of them again.
"""

from __future__ import annotations

import hashlib
from pathlib import Path

import flask

from meterlog_dashboard.frame.bundle import bundle
from meterlog_dashboard.frame.compression import keep

_PACKAGE = Path(__file__).parents[1]
_FRAME = "frame"
"""Its styles come first: the views build on them."""
_LIBRARY = "frame/library"
"""Scripts there are no modules of the page."""
_STYLES, _SCRIPTS = "all.css", "all.js"


def _names(suffix: str) -> list[str]:
    found = (path.relative_to(_PACKAGE) for path in _PACKAGE.rglob(f"*{suffix}"))
    own = (path for path in found if path.parent.as_posix() != _LIBRARY)
    return [path.as_posix() for path in sorted(own, key=lambda path: (path.parts[0] != _FRAME, path))]


def _digest() -> str:
    read = hashlib.sha256()
    for name in (*_names(".css"), *_names(".js")):
        read.update((_PACKAGE / name).read_bytes())
    return read.hexdigest()[:12]


PREFIX = f"/view-files/{_digest()}"
"""The address under which the browser finds them; `/files` is what a person downloads."""


def scripts() -> str:
    """The script element of the page's own; it runs before the first view is there, so that no press is lost."""
    return f'<script type="module" fetchpriority="low" src="{PREFIX}/{_SCRIPTS}"></script>'


def styles() -> list[str]:
    """The addresses of the page's styles."""
    return [f"{PREFIX}/{_STYLES}"]


def serve(server: flask.Flask) -> None:
    """Add the addresses of the scripts and of the styles, and of nothing else in the folder."""
    modules = {name: (_PACKAGE / name).read_text(encoding="utf-8") for name in _names(".js")}
    styles = "\n".join((_PACKAGE / name).read_text(encoding="utf-8") for name in _names(".css"))
    keep(server, f"{PREFIX}/{_SCRIPTS}", bundle(modules), "text/javascript")
    keep(server, f"{PREFIX}/{_STYLES}", styles, "text/css")
