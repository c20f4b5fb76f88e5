"""Downloads in one press: a session as CSV or Parquet, and the report as one HTML file."""

from __future__ import annotations

import json
import tempfile
from collections.abc import Callable, Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any
from urllib.parse import quote, urlencode

import flask
from dash import Dash, html
from dash.development.base_component import Component

from meterlog.errors import MeterlogError, UsageError
from meterlog.session.reader import open_reader
from meterlog_dashboard.frame.view import Context

_TYPES = {"csv": "text/csv", "parquet": "application/vnd.apache.parquet", "html": "text/html"}


def table_address(name: str, suffix: str) -> str:
    """The address of a session as a table; `suffix` is `csv` or `parquet`."""
    return f"/files/{quote(name, safe='')}/{suffix}"


def report_address(names: Sequence[str], key: str = "good", reference: Iterable[str] = ()) -> str:
    """The address of a report.

    Args:
        names: the sessions that it is of, one or more.
        key: `good` or `before`: what `reference` is.
        reference: the sessions that they are compared with.
    """
    asked = urlencode([*(("also", one) for one in names[1:]), *((key, one) for one in reference)])
    return f"/files/{quote(names[0], safe='')}/html" + (f"?{asked}" if asked else "")


def circuit_address(circuit: str, sessions: Iterable[str], rows: Sequence[Mapping[str, Any]], dead: bool) -> str:
    """The address of a circuit's report; arguments as `circuit.case.weigh` takes them."""
    asked = [("circuit", circuit), *(("session", one) for one in sessions)]
    asked += [("dead", "yes")] if dead else []
    asked += [("rows", json.dumps(rows))] if rows else []
    return f"/files/circuit.html?{urlencode(asked)}"


def session_links(name: str) -> list[Component]:
    """The report of a session, and its readings as tables: one press each."""
    return [
        html.A("Report", href=report_address([name]), className="button main", download=""),
        html.A("CSV", href=table_address(name, "csv"), className="button", download=""),
        html.A("Parquet", href=table_address(name, "parquet"), className="button", download=""),
    ]


def register(app: Dash, context: Context) -> None:
    """Add the addresses."""

    def session(name: str, suffix: str) -> flask.Response:
        makers: dict[str, Callable[[Path], None]] = {
            "csv": lambda out: _csv(context, name, out),
            "parquet": lambda out: _parquet(context, name, out),
            "html": lambda out: _report(context, name, out),
        }
        if suffix not in makers:
            raise MeterlogError(f"a session cannot be downloaded as '{suffix}'")
        return _made(Path(name).stem, suffix, makers[suffix])

    def circuit() -> flask.Response:
        name = flask.request.args.get("circuit", "")
        return _made(f"circuit-{Path(name).stem}", "html", lambda out: _circuit_report(context, name, out))

    def refused(error: Exception) -> flask.Response:
        return flask.Response(f"meterlog: {context.said(error)}\n", 404, mimetype="text/plain")

    files = flask.Blueprint("files", __name__, url_prefix="/files")
    files.add_url_rule("/<path:name>/<suffix>", "session", session)
    files.add_url_rule("/circuit.html", "circuit", circuit)
    for kind in (MeterlogError, ModuleNotFoundError):
        files.register_error_handler(kind, refused)
    app.server.register_blueprint(files)


def _made(stem: str, suffix: str, make: Callable[[Path], None]) -> flask.Response:
    """The file, made in a place of its own that is gone when it has been sent."""
    folder = tempfile.TemporaryDirectory(prefix="meterlog-")
    try:
        out = Path(folder.name) / f"made.{suffix}"
        make(out)
        response: flask.Response = flask.send_file(
            out, mimetype=_TYPES[suffix], as_attachment=True, download_name=f"{stem}.{suffix}"
        )
    except BaseException:
        folder.cleanup()
        raise
    response.direct_passthrough = False  # else the server closes the file and nothing else
    response.call_on_close(folder.cleanup)
    return response


def _csv(context: Context, name: str, out: Path) -> None:
    from meterlog.exchange.csv_export import export_csv

    with open_reader(context.folder.file(name)) as reader:
        export_csv(reader, out, delimiter=",", decimal=".")


def _parquet(context: Context, name: str, out: Path) -> None:
    from meterlog.exchange.parquet import export_parquet

    with open_reader(context.folder.file(name)) as reader:
        export_parquet(reader, out)


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
