"""Answers the page of a job: what is so now, and what a person does. Small answers, no Dash.

A press is answered, or the page says that no answer came: nobody under a vehicle guesses whether a reading was entered.
"""

from __future__ import annotations

import io
import os
import tempfile
from pathlib import Path
from typing import Any

import flask

from meterlog.errors import JobError, MeterlogError, UsageError
from meterlog.reading import Quantity
from meterlog_dashboard.cautions.panel import need_read
from meterlog_dashboard.frame.json_answer import json_answer
from meterlog_dashboard.frame.view import Context
from meterlog_dashboard.job.measuring import Measuring

_LONGEST_CAPTION, _LONGEST_STEM = 300, 40
"""Characters."""


def add_routes(server: flask.Flask, context: Context) -> None:
    """Add the addresses under `/job/`."""
    measuring = Measuring(context.jobs)

    def begin() -> flask.Response:
        from meterlog_dashboard.job.actions import begin as begin_job

        return json_answer({"name": begin_job(context, _said())})

    def now(name: str) -> flask.Response:
        told = measuring.now(name)
        told["said"] = context.folder.without_paths(told["said"])
        return json_answer({"version": context.jobs.version(name), **told})

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
        return json_answer({"version": context.jobs.version(name)})

    def photo(name: str) -> flask.Response:
        _add_photo(context, name)
        return json_answer({"version": context.jobs.version(name)})

    def photo_file(name: str, file: str) -> flask.Response:
        if file not in [step.values.get("file") for step in context.jobs.read(name).of("photo")]:
            flask.abort(404)
        response: flask.Response = flask.send_file(context.jobs.folder(name) / file, mimetype="image/jpeg")
        return response

    def report(name: str) -> flask.Response:
        return _report(context, name)

    def failed(error: Exception) -> flask.Response:
        return json_answer({"error": context.said(error)}, 400)

    routes = flask.Blueprint("job", __name__, url_prefix="/job")
    routes.add_url_rule("/", "begin", begin, methods=["POST"])
    routes.add_url_rule("/<name>", "now", now)
    routes.add_url_rule("/<name>/report.html", "report", report)
    routes.add_url_rule("/<name>/photo", "photo", photo, methods=["POST"])
    routes.add_url_rule("/<name>/photo/<file>", "photo_file", photo_file)
    routes.add_url_rule("/<name>/<what>", "do", do, methods=["POST"])
    for kind in (MeterlogError, ModuleNotFoundError, OSError):
        routes.register_error_handler(kind, failed)
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
    from meterlog.report.of_job import report_of_job

    page, _ = report_of_job(context.jobs.known(name))
    made = io.BytesIO(page.encode("utf-8"))
    return flask.send_file(made, mimetype="text/html", as_attachment=True, download_name=f"{name}.html")


def _add_photo(context: Context, name: str) -> None:
    """Take in a photo that the browser made small; what a camera notes in it is dropped.

    Raises:
        MeterlogError: there is none, or it cannot be used.
    """
    from meterlog.job.photos import add_photo

    sent = flask.request.files.get("photo")
    caption = flask.request.form.get("caption", "").strip()[:_LONGEST_CAPTION]
    if sent is None:
        raise UsageError("choose a photo first")
    stem = "".join(c for c in caption if c.isalnum() or c in " _-").strip().replace(" ", "-") or "photo"
    with tempfile.TemporaryDirectory(prefix="meterlog-") as folder:
        path = Path(folder) / f"{stem[:_LONGEST_STEM]}.jpg"
        sent.save(path)
        try:
            with context.jobs.changing:
                add_photo(context.jobs.read(name), path, caption)
        except JobError as error:
            raise JobError(str(error).replace(f"{folder}{os.sep}", "")) from error
