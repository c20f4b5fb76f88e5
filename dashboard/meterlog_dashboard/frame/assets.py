"""Serves the scripts and styles that lie beside the views.

Scripts are modules of the browser: each is loaded once, whether the page names it or another one imports it. The styles
come as one file. The address holds a digest of them all, so a browser keeps them and asks for none of them again.
"""

from __future__ import annotations

import hashlib
from pathlib import Path

import flask

_PACKAGE = Path(__file__).parents[1]
_FRAME = "frame"
"""Its styles come first: the views build on them."""
_STYLES = "all.css"
_KEPT_S = 31_536_000
"""A year, the longest that RFC 2616, 14.21, wanted anything to be kept."""


def _names(suffix: str) -> list[str]:
    found = (path.relative_to(_PACKAGE) for path in _PACKAGE.rglob(f"*{suffix}"))
    return [path.as_posix() for path in sorted(found, key=lambda path: (path.parts[0] != _FRAME, path))]


def _digest() -> str:
    read = hashlib.sha256()
    for name in (*_names(".css"), *_names(".js")):
        read.update((_PACKAGE / name).read_bytes())
    return read.hexdigest()[:12]


PREFIX = f"/view-files/{_digest()}"
"""The address under which the browser finds them; `/files` is what a person downloads."""


def scripts() -> str:
    """The script elements of the page; they run before its first view is there, so that no press is lost."""
    return "".join(
        f'<script type="module" fetchpriority="low" src="{PREFIX}/{name}"></script>' for name in _names(".js")
    )


def styles() -> list[str]:
    """The addresses of the page's styles."""
    return [f"{PREFIX}/{_STYLES}"]


def serve(server: flask.Flask) -> None:
    """Add the address of each script and of the styles, and of nothing else in the folder."""
    files = {name: ((_PACKAGE / name).read_text(encoding="utf-8"), "text/javascript") for name in _names(".js")}
    files[_STYLES] = "\n".join((_PACKAGE / name).read_text(encoding="utf-8") for name in _names(".css")), "text/css"

    def send(name: str) -> flask.Response:
        if name not in files:
            flask.abort(404)
        text, mimetype = files[name]
        response = flask.Response(text, mimetype=mimetype)
        response.headers["Cache-Control"] = f"max-age={_KEPT_S}, immutable"
        return response

    server.add_url_rule(f"{PREFIX}/<path:name>", "view-files", send)
