"""The page's frame: navigation, routing between the views, and what the browser is allowed to load."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any
from urllib.parse import parse_qsl, unquote, urlsplit

import flask
from dash import Dash, Input, Output, dcc, html
from dash.development.base_component import Component
from werkzeug.wrappers import Response

from meterlog import __version__
from meterlog.cautions import DEFERS, sentence
from meterlog.drawing import drawing_library
from meterlog.drawing.palette import trace_rules
from meterlog.errors import MeterlogError
from meterlog_dashboard.aside.routes import add_routes as add_aside_routes
from meterlog_dashboard.frame import assets, error_message, library
from meterlog_dashboard.frame.compression import compress, keep
from meterlog_dashboard.frame.view import Context, View
from meterlog_dashboard.gate.access import Access
from meterlog_dashboard.programs.routes import add_routes as add_program_routes


def views() -> list[View]:
    """The views in the order of the navigation, and last the one that the foot of the page leads to; the first is the
    start page."""
    from meterlog_dashboard.circuit import view as circuit_view
    from meterlog_dashboard.compare import view as compare_view
    from meterlog_dashboard.gate import view as gate_view
    from meterlog_dashboard.job import view as job_view
    from meterlog_dashboard.record import view as record_view
    from meterlog_dashboard.sessions import view as sessions_view

    return [job_view, record_view, sessions_view, compare_view, circuit_view, gate_view]


def build(folder: Path, access: Access) -> Dash:
    """The page over one folder of sessions, behind its gate; `.server` is the WSGI application."""
    shown, context = views(), Context.of(folder, access)
    app = _Page(
        "meterlog",
        include_assets_files=False,
        external_stylesheets=assets.styles(),
        title="meterlog",
        update_title="",
        suppress_callback_exceptions=True,
        serve_locally=True,
        enable_mcp=False,
        on_error=lambda error: error_message.say(error, context.said),
        meta_tags=[{"name": "viewport", "content": "width=device-width, initial-scale=1"}],
    )
    app.index_string = _INDEX.replace("TRACES", trace_rules(dark=True))
    app.layout = lambda: _first(context, shown)
    _route(app, context, shown)
    assets.serve(app.server)
    compress(app.server)
    app.server.add_url_rule(_DRAWING, "drawing", _drawing)
    for view in shown:
        view.register(app, context)
    add_program_routes(app.server, context)
    add_aside_routes(app.server, context)
    with app.server.test_request_context():
        app.index()  # type: ignore[no-untyped-call]  # now it is known what the library needs
    keep(app.server, *app.library, "text/javascript")
    app.server.config["CONTENT_SECURITY_POLICY"] = _policy(app)
    access.guard(app.server)
    error_message.without_tracebacks(app.server)
    return app


class _Page(Dash):
    """The page without what it does not use, and with its own scripts after the library's.

    Attributes:
        library: the address and the text of the library's scripts in one.
    """

    library: tuple[str, str] = "", ""

    def interpolate_index(self, **parts: str) -> str:  # type: ignore[override]
        """Put the page together from its parts."""
        if not self.library[0]:
            self.library = library.joined(parts["scripts"])
        others = library.others(parts["scripts"])
        scripts = f'<script src="{self.library[0]}"></script>{others}{assets.scripts()}'
        own = {"scripts": scripts, "favicon": _ICON + _ASKED_FOR_SOON, "app_entry": _COMING}
        return str(super().interpolate_index(**{**parts, **own}))  # type: ignore[no-untyped-call]


_ASKED_FOR_SOON = "".join(
    f'<link rel="preload" href="/_dash-{what}" as="fetch" crossorigin="anonymous">'
    for what in ("layout", "dependencies")
)
"""Says what the page's library asks for as soon as it runs: on the way while the library is."""
_COMING = (
    '<div id="react-entry-point"><main class="_dash-loading">'
    '<div class="skeleton" aria-hidden="true"><span class="bar"></span><span class="bar"></span></div>'
    '<p class="late" role="alert">The parts of this page do not come. Is the computer on, is \'meterlog page\' running'
    " there? Load this page again when it is. What is recorded stays there.</p></main></div>"
)
"""Stands where the page will be until its parts have come."""
_ICON = (
    '<link rel="icon" href="data:image/svg+xml,%3Csvg xmlns=%22http:%2F%2Fwww.w3.org%2F2000%2Fsvg%22 '
    "viewBox=%220 0 16 16%22%3E%3Cpath d=%22M1 12h4V4h6v8h4%22 fill=%22none%22 stroke=%22%230083c4%22 "
    'stroke-width=%222.5%22/%3E%3C/svg%3E">'
)
"""A supply that goes on and off again."""


def _first(context: Context, shown: list[View]) -> Component:
    """The frame with the view of the page that asks for it in it already, which saves a weak line one question."""
    asking = urlsplit(flask.request.headers.get("Referer", ""))
    here = {"pathname": asking.path, "search": f"?{asking.query}" if asking.query else ""}
    try:
        return _frame(shown, _view(context, shown, **here), **here)
    except Exception:  # the page asks again by the callback below, which has words for what goes wrong
        return _frame(shown)


def _frame(shown: list[View], view: list[Component] | None = None, **here: Any) -> Component:
    *links, last = [dcc.Link(view.TITLE, href=view.PATH, className="nav-link") for view in shown]
    return html.Div(
        [
            html.A("To the content", href="#view", className="skip"),
            dcc.Location(id="address", **here),
            html.Header([html.Span("meterlog", className="name"), html.Nav(links, title="Views", id="views")]),
            html.Main(view, id="view", tabIndex="-1"),
            html.Footer([f"meterlog {__version__}. {sentence(DEFERS)} ", last]),
        ]
    )


_INDEX = """<!doctype html>
<html lang="en">
<head>{%metas%}<title>{%title%}</title>{%favicon%}{%css%}<style>TRACES</style></head>
<body>{%app_entry%}{%config%}{%scripts%}{%renderer%}</body>
</html>"""
"""The library's own says no language, and has a second footer."""

_DRAWING = "/_dash-component-suites/plotly/package_data/plotly.min.js"
"""The address that Dash gives the drawing library: Chromium starts the smaller one in 0.3 s, the whole one in 1.3."""


def _drawing() -> Response:
    response = flask.Response(drawing_library(), mimetype="text/javascript")
    response.add_etag()
    response.headers["Cache-Control"] = "no-cache"  # kept, and asked for whether it is still the same
    return response.make_conditional(flask.request)


_HERE = """(pathname) => {
  for (const link of document.querySelectorAll(".nav-link")) {
    const own = link.getAttribute("href");
    const here = pathname === own || pathname.startsWith(own + "/") || (pathname === "/" && !link.previousSibling);
    if (here) { link.setAttribute("aria-current", "page"); document.title = link.textContent + " - meterlog"; }
    else link.removeAttribute("aria-current");
  }
}"""
"""Marks the open view in the navigation and in the tab's title."""


def _route(app: Dash, context: Context, shown: list[View]) -> None:
    app.clientside_callback(_HERE, Input("address", "pathname"))  # type: ignore[no-untyped-call]

    @app.callback(
        Output("view", "children"), Input("address", "pathname"), Input("address", "search"), prevent_initial_call=True
    )
    def show(pathname: str | None, search: str | None) -> list[Component]:
        return _view(context, shown, pathname or "/", search or "")


def _view(context: Context, shown: list[View], pathname: str, search: str) -> list[Component]:
    query = dict(parse_qsl(search.removeprefix("?")))
    return [error_message.place(), _page(context, shown, unquote(pathname), query)]


def _page(context: Context, shown: list[View], pathname: str, query: Mapping[str, str]) -> Component:
    for view in shown:
        if pathname == view.PATH or pathname.startswith(view.PATH + "/"):
            try:
                return view.layout(context, pathname[len(view.PATH) :].strip("/"), query)
            except (MeterlogError, OSError) as error:
                return error_message.instead(context.said(error), view)
    if pathname == "/":
        return shown[0].layout(context, "", query)
    return error_message.instead("There is nothing at this address.", shown[0])


def _policy(app: Dash) -> str:
    """The content security policy: everything from here, scripts by hash, styles inline (the plots set them)."""
    scripts = " ".join(f"'{value}'" if not value.startswith("'") else value for value in app.csp_hashes())
    return (
        f"default-src 'self'; script-src 'self' {scripts}; style-src 'self' 'unsafe-inline'; "
        "img-src 'self' data: blob:; connect-src 'self'; object-src 'none'; base-uri 'none'; "
        "form-action 'self'; frame-ancestors 'none'"
    )
