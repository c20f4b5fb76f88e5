"""Answers what is done to a session as a file: rename, remove, put back. Small answers, no Dash."""

from __future__ import annotations

from collections.abc import Callable

import flask

from meterlog.errors import MeterlogError, UsageError
from meterlog_dashboard.frame.view import Context
from meterlog_dashboard.session_files import changes
from meterlog_dashboard.session_files.folder import SessionFolder


def add_routes(server: flask.Flask, context: Context) -> None:
    """Add the addresses under `/session/`."""

    def do(name: str, what: str) -> flask.Response:
        if what not in _ACTS:
            raise UsageError(f"a session does not know '{what}'")
        said = flask.request.get_json(silent=True)
        typed = said.get("name", "") if isinstance(said, dict) else ""
        if not isinstance(typed, str):
            raise UsageError("a name must be a text")
        return _answer({"name": _ACTS[what](context.folder, name, typed)})

    def failed(error: Exception) -> flask.Response:
        answer = _answer({"error": context.said(error)})
        answer.status_code = 400
        return answer

    routes = flask.Blueprint("session", __name__, url_prefix="/session")
    routes.add_url_rule("/<name>/<what>", "do", do, methods=["POST"])
    for kind in (MeterlogError, OSError):
        routes.register_error_handler(kind, failed)
    server.register_blueprint(routes)


def _remove(folder: SessionFolder, name: str, _: str) -> str:
    changes.remove(folder, name)
    return name


def _put_back(folder: SessionFolder, name: str, _: str) -> str:
    changes.put_back(folder, name)
    return name


_ACTS: dict[str, Callable[[SessionFolder, str, str], str]] = {
    "rename": changes.rename,
    "remove": _remove,
    "put-back": _put_back,
}


def _answer(body: dict[str, str]) -> flask.Response:
    answer = flask.jsonify(body)
    answer.headers["Cache-Control"] = "no-store"
    return answer
