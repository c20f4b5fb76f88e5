"""Answers the live page while it is open: what is new, a marker, the end. Small answers, no Dash."""

from __future__ import annotations

import shutil
import time
from typing import Any

import flask

from meterlog.errors import MeterlogError, NotASession, SessionError
from meterlog_dashboard.frame.json_answer import json_answer
from meterlog_dashboard.frame.view import Context
from meterlog_dashboard.live.feed import LiveFeed, LiveFeeds
from meterlog_dashboard.live.presses import Presses
from meterlog_dashboard.record.recorder_process import Recorders

_PATIENCE_S = 2.0
"""A recorder closes its session within this, s; a guess, usually 0.1 s."""
_FULL_BYTES = 1_000_000
"""A disk with less room than this is full, bytes; a guess, some minutes of one meter."""
_AGAIN_S = 0.05
"""Between two tries, s."""


def add_routes(server: flask.Flask, context: Context, recorders: Recorders) -> None:
    """Add the addresses under `/live/`."""
    feeds, presses = LiveFeeds(context.folder), Presses()

    def new(name: str) -> flask.Response:
        asked = flask.request.args
        after = asked.get("after", default=0, type=int)
        told = _since(feeds.of(name), asked.get("epoch", ""), after)
        ended = told["state"] != "growing"
        cause = (recorders.cause(name, _PATIENCE_S) or _of_the_disk(context, told["state"])) if ended else ""
        return json_answer({**told, "cause": context.folder.without_paths(cause)})

    def mark(name: str) -> flask.Response:
        marker = presses.mark(context.folder.file(name), flask.request.get_json(silent=True))
        return json_answer({"time_s": marker.time_s, "name": marker.name})

    def stop(name: str) -> flask.Response:
        recorders.stop(name)
        return json_answer({})

    def failed(error: Exception) -> flask.Response:
        name = (flask.request.view_args or {}).get("name", "")
        gone = isinstance(error, NotASession) and not context.folder.holds(name)
        cause = recorders.cause(name, _PATIENCE_S) if gone else ""
        return json_answer({"error": context.folder.without_paths(cause) or context.said(error)}, 404 if gone else 400)

    routes = flask.Blueprint("live", __name__, url_prefix="/live")
    routes.add_url_rule("/<path:name>", "new", new)
    routes.add_url_rule("/<path:name>/marker", "mark", mark, methods=["POST"])
    routes.add_url_rule("/<path:name>/stop", "stop", stop, methods=["POST"])
    for kind in (MeterlogError, OSError):
        routes.register_error_handler(kind, failed)
    server.register_blueprint(routes)


def _of_the_disk(context: Context, state: str) -> str:
    """Name a full disk where a recorder that this server did not start ended without closing its session."""
    full = state == "hard" and shutil.disk_usage(context.folder.path).free < _FULL_BYTES
    return "the disk is full: make room on it before you record again" if full else ""


def _since(feed: LiveFeed, epoch: str, after: int) -> dict[str, Any]:
    """Look for what is new; again, while a recorder that is just closing the session keeps it from being read.

    Raises:
        SessionError: it cannot be read, or is gone.
    """
    give_up_s = time.monotonic() + _PATIENCE_S
    while True:
        try:
            return feed.since(epoch, after)
        except SessionError:
            if time.monotonic() > give_up_s or not feed.path.exists():
                raise
        time.sleep(_AGAIN_S)
