"""Answers other programs: what sessions there are, and a session's items as they come, by server-sent events.

That is plain HTTP and an open standard (HTML living standard, section 9.2): `curl` and every browser read it, it goes
through the page's gate as it is, and needs no library and no second server, as WebSocket would.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator

import flask

from meterlog.errors import MeterlogError, NotASession, SessionError
from meterlog.session.summary import Summary
from meterlog.stream.items import VERSION, SessionItems
from meterlog_dashboard.frame.json_answer import json_answer
from meterlog_dashboard.frame.view import Context
from meterlog_dashboard.programs.told_items import events

LISTENERS = 4
"""Programs that hear sessions at the same time: each holds a thread of the server. A guess."""
_LOOK_S = 0.25
"""Time between two looks at the file, s: the recorder writes to it about twice a second."""


def add_routes(server: flask.Flask, context: Context) -> None:
    """Add the addresses under `/programs/v1/`."""
    free = threading.BoundedSemaphore(LISTENERS)

    def sessions() -> flask.Response:
        known = [_listed(one) for one in context.listed.all() if not one.damage]
        return json_answer({"version": VERSION, "sessions": known})

    def items(name: str) -> flask.Response:
        path = context.folder.file(name)
        if not free.acquire(blocking=False):
            return json_answer({"error": f"{LISTENERS} programs are listening already: try again later"}, 503)
        told = _told(SessionItems(path), flask.request.headers.get("Last-Event-ID", ""))
        answer = flask.Response(told, mimetype="text/event-stream")
        answer.call_on_close(free.release)
        answer.headers["Cache-Control"] = "no-store"
        return answer

    def failed(error: Exception) -> flask.Response:
        return json_answer({"error": context.said(error)}, 404 if isinstance(error, NotASession) else 400)

    routes = flask.Blueprint("programs", __name__, url_prefix="/programs/v1")
    routes.add_url_rule("/sessions", "sessions", sessions)
    routes.add_url_rule("/sessions/<path:name>", "items", items)
    routes.register_error_handler(MeterlogError, failed)
    server.register_blueprint(routes)


def _told(items: SessionItems, last_id: str) -> Iterator[str]:
    """The events; a session that can be read no more ends them, and a listener that comes again is told why."""
    try:
        yield from events(items, last_id, lambda: time.sleep(_LOOK_S))
    except SessionError:
        return


def _listed(session: Summary) -> dict[str, object]:
    return {
        "session": session.name,
        "started_at": session.started_at.isoformat() if session.started_at else None,
        "growing": session.ended == "growing",
        "duration_s": session.duration_s,
        "readings": session.readings,
        "details": dict(session.details),
    }
