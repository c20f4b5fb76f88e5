"""Serves the scripts and styles that lie beside the views.

Scripts are modules of the browser: each is loaded once, whether the page names it or another one imports it.
"""

from __future__ import annotations

from pathlib import Path

import flask

PREFIX = "/view-files"
"""The address under which the browser finds them; `/files` is what a person downloads."""
_PACKAGE = Path(__file__).parents[1]
_FRAME = "frame"
"""Its styles come first: the views build on them."""


def scripts() -> list[dict[str, str]]:
    """The script elements of the page."""
    return [{"type": "module", "src": f"{PREFIX}/{name}"} for name in _names(".js")]


def styles() -> list[str]:
    """The addresses of the page's styles, the frame's first."""
    return [f"{PREFIX}/{name}" for name in _names(".css")]


def serve(server: flask.Flask) -> None:
    """Add the address of each script and style, and of nothing else in the folder."""
    known = {*_names(".js"), *_names(".css")}

    def send(name: str) -> flask.Response:
        if name not in known:
            flask.abort(404)
        # Kept by the browser, which asks each time whether it is still the same: an update needs no new address.
        response: flask.Response = flask.send_file(_PACKAGE / name, max_age=0)
        return response

    server.add_url_rule(f"{PREFIX}/<path:name>", "view-files", send)


def _names(suffix: str) -> list[str]:
    found = (path.relative_to(_PACKAGE) for path in _PACKAGE.rglob(f"*{suffix}"))
    return [path.as_posix() for path in sorted(found, key=lambda path: (path.parts[0] != _FRAME, path))]
