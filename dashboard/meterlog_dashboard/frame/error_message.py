"""What a part of the page could not do, said on the page in one sentence; no question ends in a traceback."""

from __future__ import annotations

import sys

from dash import html, set_props
from dash.development.base_component import Component

from meterlog.errors import MeterlogError

_PLACE = "trouble"
_UNFORESEEN = "That could not be done. Load this page again; what was recorded is not touched."


def place() -> Component:
    """Where it is said; it is empty again when another view is opened."""
    return html.P(id=_PLACE, role="alert")


def say(error: Exception) -> None:
    """Say it: a session that was removed while it was shown, or a question that this page would not ask.

    What is none of our errors is a defect, or a page that is older than the program: the terminal names it too.
    """
    if not isinstance(error, MeterlogError):
        print(f"meterlog: the page could not answer: {error!r}", file=sys.stderr)
    words = str(error) if isinstance(error, MeterlogError) else _UNFORESEEN
    set_props(_PLACE, {"children": words, "className": "error"})
