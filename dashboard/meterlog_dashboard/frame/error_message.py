"""Says on the page, in one sentence, what could not be done; no request ends in a traceback."""

from __future__ import annotations

import logging
import sys
from collections.abc import Callable

import flask
from dash import dcc, html, set_props
from dash.development.base_component import Component
from dash.exceptions import DependencyException

from meterlog.errors import MeterlogError
from meterlog_dashboard.frame.view import View

_PLACE = "error-message"
_UNFORESEEN = "That did not work. Reload this page; nothing recorded is lost."


def place() -> Component:
    """The place of the sentence; empty again when another view is opened."""
    return html.P(id=_PLACE, role="alert")


def say(error: Exception, plain: Callable[[Exception], str] = str) -> None:
    """Say it: a session that was removed while it was shown, or a request that this page would not make.

    Any other error is a defect, or a page older than the program: the terminal names it too.

    Args:
        error: what was raised.
        plain: makes the sentence of an error that can be foreseen.
    """
    if not isinstance(error, MeterlogError):
        print(f"meterlog: the page could not answer: {error!r}", file=sys.stderr)
    words = plain(error) if isinstance(error, MeterlogError | OSError) else _UNFORESEEN
    set_props(_PLACE, {"children": words, "className": "error"})


def without_tracebacks(server: flask.Flask) -> None:
    """Let a defect be one line in the terminal, and one sentence to who asked; and what no page asks be no defect."""
    server.logger.addFilter(_in_one_line)
    server.register_error_handler(500, _answered(500, _UNFORESEEN))
    server.register_error_handler(RecursionError, _answered(400, "that is nested too deeply"))
    server.register_error_handler(UnicodeEncodeError, _answered(400, "that holds a character that cannot be written"))
    server.register_error_handler(DependencyException, _answered(404, "there is nothing at this address"))


def _answered(status: int, words: str) -> Callable[[Exception], flask.Response]:
    return lambda _: flask.Response(f"meterlog: {words}\n", status, mimetype="text/plain")


def _in_one_line(record: logging.LogRecord) -> bool:
    if record.exc_info:
        record.msg, record.args, record.exc_info = f"the page could not answer: {record.exc_info[1]!r}", (), None
    return True


def instead(words: str, view: View) -> Component:
    """Return what is shown instead of a view: why it cannot be, and the way on."""
    way_on = dcc.Link(f"To {view.TITLE}", href=view.PATH, className="button main")
    return html.Div([html.H1(view.TITLE), html.P(words, role="alert", className="error"), way_on])
