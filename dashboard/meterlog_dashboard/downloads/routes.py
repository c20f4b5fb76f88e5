"""Answers downloads: a session as CSV or Parquet, sent while it is made, and reports as one HTML file."""

from __future__ import annotations

import json
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import flask
from dash import Dash

from meterlog.errors import MeterlogError, UsageError
from meterlog_dashboard.downloads.tables import KINDS, Tables
from meterlog_dashboard.frame.json_answer import json_answer
from meterlog_dashboard.frame.view import Context


def register(app: Dash, context: Context) -> None:
    """Add the addresses."""
    tables = Tables(context.said)

    def session(name: str, suffix: str) -> flask.Response:
        stem = Path(name).stem
        if suffix == "html":
            return _made(stem, lambda out: _report(context, name, out))
        if suffix not in KINDS:
            raise MeterlogError(f"a session cannot be downloaded as '{suffix}'")
        sent = tables.begin(lambda: context.folder.file(name), suffix, flask.request.args.get("id", ""))
        answer = flask.Response(sent, mimetype=KINDS[suffix].mimetype)
        answer.headers.set("Content-Disposition", "attachment", filename=f"{stem}.{suffix}")
        answer.headers["Cache-Control"] = "no-store"
        return answer

    def going(number: str) -> flask.Response:
        if flask.request.method == "POST":
            tables.stop(number)
        return json_answer(tables.told(number))

    def circuit() -> flask.Response:
        name = flask.request.args.get("circuit", "")
        return _made(f"circuit-{Path(name).stem}", lambda out: _circuit_report(context, name, out))

    def refused(error: Exception) -> flask.Response:
        return flask.Response(f"meterlog: {context.said(error)}\n", 404, mimetype="text/plain")

    files = flask.Blueprint("files", __name__, url_prefix="/files")
    files.add_url_rule("/<path:name>/<suffix>", "session", session)
    files.add_url_rule("/circuit.html", "circuit", circuit)
    files.add_url_rule("/going/<number>", "going", going, methods=["GET", "POST"])
    for kind in (MeterlogError, ModuleNotFoundError):
        files.register_error_handler(kind, refused)
    app.server.register_blueprint(files)


def _made(stem: str, make: Callable[[Path], None]) -> flask.Response:
    """The report, made in a place of its own that is gone when it has been sent."""
    folder = tempfile.TemporaryDirectory(prefix="meterlog-")
    try:
        out = Path(folder.name) / "made.html"
        make(out)
        response: flask.Response = flask.send_file(
            out, mimetype="text/html", as_attachment=True, download_name=f"{stem}.html"
        )
    except BaseException:
        folder.cleanup()
        raise
    response.direct_passthrough = False  # else the server closes the file and nothing else
    response.call_on_close(folder.cleanup)
    return response


def _report(context: Context, name: str, out: Path) -> None:
    from meterlog.report import build_report, write_report

    asked = flask.request.args
    sessions, good, before = (
        [context.opened.measured(one) for one in names]
        for names in ([name, *asked.getlist("also")], asked.getlist("good"), asked.getlist("before"))
    )
    write_report(build_report(before, after=sessions) if before else build_report(sessions, good), out)


def _circuit_report(context: Context, name: str, out: Path) -> None:
    from meterlog.report import build_report, circuit_part, write_report
    from meterlog_dashboard.circuit.case import weigh

    asked = flask.request.args
    sessions = asked.getlist("session")
    case = weigh(context.folder, name, sessions, _rows(asked.get("rows", "[]")), "dead" in asked)
    part = circuit_part(case.diagnoser, case.measured, case.tried, case.left_out)
    write_report(build_report([context.opened.measured(one) for one in sessions], circuit=part), out)


def _rows(text: str) -> list[dict[str, Any]]:
    """Read from the address what a person entered.

    Raises:
        UsageError: that is not a list of entries.
    """
    try:
        rows = json.loads(text)
    except ValueError:
        rows = None
    if not isinstance(rows, list) or not all(isinstance(row, dict) for row in rows):
        raise UsageError("the entered readings in the address are not valid")
    return rows
