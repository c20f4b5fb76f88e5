"""Answers the page of a job: what is so now, and what a person does. Small answers, no Dash.

A press is answered, or the page says that no answer came: nobody under a vehicle guesses whether a reading was entered.
"""

from __future__ import annotations

import io
from typing import Any

import flask

from meterlog.errors import MeterlogError, UsageError
from meterlog.reading import Quantity
from meterlog_dashboard.cautions.panel import need_read
from meterlog_dashboard.frame.view import Context
from meterlog_dashboard.job.measuring import Measuring


def add_routes(server: flask.Flask, context: Context) -> None:
    """Add the addresses under `/job/`."""
    measuring = Measuring(context.jobs)

    def begin() -> flask.Response:
        from meterlog_dashboard.job.actions import begin as begin_job

        return _answer({"name": begin_job(context, _said())})

    def now(name: str) -> flask.Response:
        told = measuring.now(name)
        told["said"] = context.folder.without_paths(told["said"])
        return _answer({"version": context.jobs.version(name), **told})

    def do(name: str, what: str) -> flask.Response:
        from meterlog_dashboard.job.actions import act

        said = _said()
        if what == "measure":
            _check_cautions(context, name, said)
            measuring.begin(name)
        elif what == "stop":
            measuring.end(name)
        else:
            act(context, name, what, said)
        return _answer({"version": context.jobs.version(name)})

    def report(name: str) -> flask.Response:
        return _report(context, name)

    def failed(error: Exception) -> flask.Response:
        return _answer({"error": context.said(error)}, 400)

    routes = flask.Blueprint("job", __name__, url_prefix="/job")
    routes.add_url_rule("/", "begin", begin, methods=["POST"])
    routes.add_url_rule("/<name>", "now", now)
    routes.add_url_rule("/<name>/report.html", "report", report)
    routes.add_url_rule("/<name>/<what>", "do", do, methods=["POST"])
    routes.register_error_handler(MeterlogError, failed)
    server.register_blueprint(routes)


def _said() -> dict[str, Any]:
    said = flask.request.get_json(silent=True)
    if not isinstance(said, dict):
        raise UsageError("this must be asked with an object of JSON")
    return said


def _check_cautions(context: Context, name: str, said: dict[str, Any]) -> None:
    """Refuse to measure before the cautions of the quantity were read.

    Raises:
        MeterlogError: they were not, or nothing is to be measured now.
    """
    from meterlog.circuit.readings.measurement import QUANTITY

    status, version = context.jobs.status(name)
    if said.get("version") != version:
        raise UsageError("the job has moved on meanwhile: look at what comes next now, and press again")
    m = status.next.measurement
    if m is None or m.quantity not in QUANTITY:
        raise UsageError("no meter shows what comes next: answer it on the page")
    if not status.job.meters:
        raise UsageError("choose the meter first")
    need_read(Quantity(QUANTITY[m.quantity]), said.get("cautions"))


def _report(context: Context, name: str) -> flask.Response:
    """The customer's report of a job, as its command writes it."""
    import tempfile
    from pathlib import Path

    from meterlog.report import write_report
    from meterlog.report.of_job import report_of_job

    status, _ = context.jobs.status(name)
    with tempfile.TemporaryDirectory(prefix="meterlog-") as folder:
        out = Path(folder) / "report.html"
        write_report(report_of_job(status)[0], out)
        made = io.BytesIO(out.read_bytes())
    return flask.send_file(made, mimetype="text/html", as_attachment=True, download_name=f"{name}.html")


def _answer(body: dict[str, Any], status: int = 200) -> flask.Response:
    answer = flask.jsonify(body)
    answer.status_code = status
    answer.headers["Cache-Control"] = "no-store"
    return answer
