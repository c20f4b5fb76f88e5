"""Gives the drawing library in the browser, for the report and the page: its basic bundle, a quarter of the whole one.

`plotly-basic.min.js` is plotly.js 4.1.1, MIT (`plotly-basic.LICENSE`), unchanged from its npm package
`plotly.js-basic-dist-min`; the integrity that the registry states for the package is
`sha512-1oNF8PeQx2hv/y7tqEVWKD3JGwn/MGEMQ8mL9HUwsaqG9FGy/OU5FHUHvzqbqxN4mnwZGI9abTiE775C4kkjMQ==`.
`plotly-basic.third-party.LICENSE` has the licences of the 22 packages that `dist/plotly-basic.js` of `plotly.js` 4.1.1
names in its comments (`// node_modules/...`).
"""

from __future__ import annotations

from importlib.resources import files


def drawing_library() -> str:
    """Return its text, to stand in a page."""
    return (files(__package__) / "plotly-basic.min.js").read_text("utf-8")
