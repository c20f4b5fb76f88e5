"""What can be taken away in one click: a session as CSV or Parquet, and the report as one HTML file."""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Iterable
from pathlib import Path
from urllib.parse import quote, urlencode

import flask
from dash import Dash

from meterlog.errors import MeterlogError
from meterlog.session.reader import open_reader
from meterlog_dashboard.shelf import shelf_of
from meterlog_dashboard.view import Shop

_TYPES = {"csv": "text/csv", "parquet": "application/vnd.apache.parquet", "html": "text/html"}


def table_address(name: str, suffix: str) -> str:
    """Where the browser finds a session as a table; `suffix` is `csv` or `parquet`."""
    return f"/files/{quote(name, safe='')}/{suffix}"


def report_address(name: str, good: Iterable[str] = ()) -> str:
    """Where the browser finds the report of a session, held against known-good ones."""
    asked = urlencode([("good", one) for one in good])
    return f"/files/{quote(name, safe='')}/html" + (f"?{asked}" if asked else "")


def register(app: Dash, shop: Shop) -> None:
    """Add the addresses."""

    def answer(name: str, suffix: str) -> flask.Response:
        makers: dict[str, Callable[[Path], None]] = {
            "csv": lambda out: _csv(shop, name, out),
            "parquet": lambda out: _parquet(shop, name, out),
            "html": lambda out: _report(shop, name, out, flask.request.args.getlist("good")),
        }
        try:
            if suffix not in makers:
                raise MeterlogError(f"a session cannot be taken away as '{suffix}'")
            return _made(Path(name).stem, suffix, makers[suffix])
        except MeterlogError as error:
            return flask.Response(f"meterlog: {error}\n", 404, mimetype="text/plain")

    app.server.add_url_rule("/files/<name>/<suffix>", "files", answer)


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
    response.call_on_close(folder.cleanup)
    return response


def _csv(shop: Shop, name: str, out: Path) -> None:
    from meterlog.exchange.csv_export import export_csv

    with open_reader(shop.library.path(name)) as reader:
        export_csv(reader, out, delimiter=",", decimal=".")


def _parquet(shop: Shop, name: str, out: Path) -> None:
    from meterlog.exchange.parquet import export_parquet

    with open_reader(shop.library.path(name)) as reader:
        export_parquet(reader, out)


def _report(shop: Shop, name: str, out: Path, good: Iterable[str]) -> None:
    from meterlog.report import build_report, write_report

    shelf = shelf_of(shop.library)
    write_report(build_report([shelf.capture(name)], [shelf.capture(one) for one in good]), out)
