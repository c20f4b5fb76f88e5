"""Answers what is done to a session or a job as a file: rename, remove, put back, restore. Small answers,
no Dash."""

from __future__ import annotations

from collections.abc import Callable

import flask

from meterlog.errors import MeterlogError, UsageError
from meterlog_dashboard.aside import archive, jobs, sessions
from meterlog_dashboard.frame.json_answer import json_answer
from meterlog_dashboard.frame.view import Context

Act = Callable[[Context, str, str], str]


def add_routes(server: flask.Flask, context: Context) -> None:
    """Add the addresses `/session/NAME/WHAT` and `/job/NAME/WHAT` of these acts."""

    def does(act: Act) -> Callable[[str], flask.Response]:
        def do(name: str) -> flask.Response:
            said = flask.request.get_json(silent=True)
            typed = said.get("name", "") if isinstance(said, dict) else ""
            if not isinstance(typed, str):
                raise UsageError("a name must be a text")
            return json_answer({"name": act(context, name, typed)})

        return do

    def unknown(name: str, what: str) -> flask.Response:  # noqa: ARG001
        raise UsageError(f"a session does not know '{what}'")

    def failed(error: Exception) -> flask.Response:
        return json_answer({"error": context.said(error)}, 400)

    routes = flask.Blueprint("aside", __name__)
    for (kind, what), act in _ACTS.items():
        routes.add_url_rule(f"/{kind}/<path:name>/{what}", f"{kind}-{what}", does(act), methods=["POST"])
    routes.add_url_rule("/session/<path:name>/<what>", "unknown", unknown, methods=["POST"])
    for error in (MeterlogError, OSError):
        routes.register_error_handler(error, failed)
    server.register_blueprint(routes)


def _remove_session(context: Context, name: str, _: str) -> str:
    sessions.remove(context.folder, name)
    return name


def _put_back_session(context: Context, name: str, _: str) -> str:
    sessions.put_back(context.folder, name)
    return name


def _remove_job(context: Context, name: str, _: str) -> str:
    jobs.remove(context.jobs, name)
    return name


def _put_back_job(context: Context, name: str, _: str) -> str:
    jobs.put_back(context.jobs, name)
    return name


_ACTS: dict[tuple[str, str], Act] = {
    ("session", "rename"): lambda context, name, typed: sessions.rename(context.folder, name, typed),
    ("session", "remove"): _remove_session,
    ("session", "put-back"): _put_back_session,
    ("session", "restore"): lambda context, name, _: archive.restore(context.folder, name),
    ("job", "rename"): lambda context, name, typed: jobs.rename(context.jobs, name, typed),
    ("job", "remove"): _remove_job,
    ("job", "put-back"): _put_back_job,
}
