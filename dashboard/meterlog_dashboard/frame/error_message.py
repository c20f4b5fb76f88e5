"""Says on the page, in one sentence, what could not be done; no request ends in a traceback."""

from __future__ import annotations

import sys
from collections.abc import Callable

from dash import html, set_props
from dash.development.base_component import Component

from meterlog.errors import MeterlogError

_PLACE = "error-message"
_UNFORESEEN = "That did not work. Reload this page; nothing recorded is lost."


def place() -> Component:
    """The place of the sentence; empty again when another view is opened."""
    return html.P(id=_PLACE, role="alert")


def say(error: Exception, plain: Callable[[str], str] = str) -> None:
    """Say it: a session that was removed while it was shown, or a request that this page would not make.

    Any other error is a defect, or a page older than the program: the terminal names it too.

    Args:
        error: what was raised.
        plain: takes the folder's place out of a sentence.
    """
    if not isinstance(error, MeterlogError):
        print(f"meterlog: the page could not answer: {error!r}", file=sys.stderr)
    words = plain(str(error)) if isinstance(error, MeterlogError) else _UNFORESEEN
    set_props(_PLACE, {"children": words, "className": "error"})
