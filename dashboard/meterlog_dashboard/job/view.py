"""Jobs: the list with 'New job', the form that begins one, and under each one's address the job itself."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from dash import Dash, Input, Output, State, no_update
from dash.development.base_component import Component

from meterlog.errors import MeterlogError
from meterlog_dashboard.frame.view import Context
from meterlog_dashboard.job.routes import add_routes

PATH = "/jobs"
TITLE = "Jobs"
NEW = "new"
"""The address of the form, below `PATH`; a folder called so is reached by its address with a slash at the end."""


def layout(context: Context, rest: str, query: Mapping[str, str]) -> Component:
    """The list, the form, or the job that `rest` names."""
    from meterlog_dashboard.job import column, start

    if rest:
        return start.form(context) if rest == NEW and "name" not in query else column.layout(context, rest)
    return start.page(context)


def register(app: Dash, context: Context) -> None:
    """Add its addresses, and the callback that shows a job anew whenever its file has changed."""
    add_routes(app.server, context)

    @app.callback(
        Output("job-next", "children"),
        Output("job-act", "children"),
        Output("job-known", "children"),
        Output("job-shown", "data"),
        Input("job-changed", "data"),
        State("job-name", "data"),
        prevent_initial_call=True,
    )
    def show(_: Any, name: str) -> tuple[Any, Any, Any, Any]:
        from meterlog_dashboard.job import column

        try:
            return column.parts(context, name)
        except MeterlogError as error:
            return column.refused(context.said(error)), None, no_update, None
