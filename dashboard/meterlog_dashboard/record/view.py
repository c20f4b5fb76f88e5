"""Record: choose meters, say what is measured, start or arm; under each running session's address, the live page."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from dash import Dash, Input, Output, State, dcc, html, no_update
from dash.development.base_component import Component

from meterlog.address import Address
from meterlog.errors import MeterlogError, UsageError
from meterlog.reading import Quantity
from meterlog_dashboard.cautions.panel import USUAL_FIRST, cautions_panel, need_read
from meterlog_dashboard.frame.addresses import live_address
from meterlog_dashboard.frame.elements import attributes
from meterlog_dashboard.frame.view import Context
from meterlog_dashboard.live import page as live_page
from meterlog_dashboard.live import routes as live_routes
from meterlog_dashboard.record import columns, meter_search
from meterlog_dashboard.record.recorder_process import RecorderOptions, Recorders

PATH = "/record"
TITLE = "Record"

_METERS = 4
"""Meters that the form takes; `meterlog record` takes more."""
_REMEMBERED: Any = {"persistence": True, "persistence_type": "local"}
"""Keeps what a person typed, so that it stands there again in this browser."""
_ALL = "all"
_WAITS = {
    _ALL: "keep everything",
    "rise": "wait until it rises through",
    "fall": "wait until it falls through",
    "above": "wait until it is above",
    "below": "wait until it is below",
    "open": "wait until it opens (ohms)",
    "closed": "wait until it closes (ohms)",
}
_DETAILS = {"vehicle": "Vehicle", "complaint": "Complaint", "system_v": "System voltage, V (12 or 24)"}


def layout(context: Context, rest: str, query: Mapping[str, str]) -> Component:  # noqa: ARG001
    """The form, or the live page of the session that `rest` names."""
    if rest:
        return live_page.layout(context, rest)
    return html.Div(
        [
            html.H1("Record"),
            *_running(Recorders(context.folder).running()),
            _what(),
            _meters(),
            _when(),
            _case(),
            cautions_panel(),
            dcc.Store(id="cautions-said", data=[]),
            html.Div(
                [
                    html.P(id="start-error", role="alert", className="start-error"),
                    html.Button("Start", id="start", className="main giant"),
                ],
                className="act-bar",
            ),
            dcc.Location(id="go-live", refresh="callback-nav"),
        ],
        id="record-form",
    )


def _running(names: list[str]) -> list[Component]:
    if not names:
        return []
    links = [dcc.Link(f"Go to {name}", href=live_address(name), className="button main") for name in names]
    return [html.Section([html.H2("Being recorded now"), html.Div(links, className="row")], className="panel")]


def _what() -> Component:
    options = [{"label": quantity.words, "value": str(quantity)} for quantity in USUAL_FIRST]
    return html.Section(
        [
            html.H2("What is measured", id="what-title"),
            dcc.RadioItems(options, str(Quantity.DC_VOLTAGE), id="what", className="chips"),
        ],
        className="panel",
        role="group",
        **attributes(aria_labelledby="what-title"),
    )


def _meters() -> Component:
    rows = [_meter(number) for number in range(1, _METERS + 1)]
    return html.Section(
        [
            html.H2("Meters"),
            meter_search.panel(),
            rows[0],
            html.Details([html.Summary("More meters at the same time"), *rows[1:]]),
        ],
        className="panel",
    )


def _meter(number: int) -> Component:
    def field(part: str, label: str, placeholder: str) -> Component:
        box = dcc.Input(
            id=f"meter-{number}-{part}", type="text", autoComplete="off", placeholder=placeholder, **_REMEMBERED
        )
        return html.Div([html.Label(label, htmlFor=f"meter-{number}-{part}"), box])

    which = "Meter" if number == 1 else f"Meter {number}"
    return html.Div(
        [
            field("address", f"{which}: address", "auto:/dev/ttyUSB0"),
            field("label", "Name", "pump feed; of several columns: feed, ground"),
            field("point", "Test point", "connector C12 pin 3"),
            columns.place(number),
        ],
        className="fields meter",
    )


def _when() -> Component:
    def number(name: str, label: str, value: float | None, step: str = "any") -> Component:
        box = dcc.Input(id=f"wait-{name}", type="number", value=value, step=step, **_REMEMBERED)
        return html.Div([html.Label(label, htmlFor=f"wait-{name}"), box])

    options = [{"label": label, "value": kind} for kind, label in _WAITS.items()]
    return html.Section(
        [
            html.H2("When to keep readings", id="when-title"),
            dcc.RadioItems(options, _ALL, id="wait", className="chips"),
            html.Div(
                [
                    number("level", "Level, in V, A, ohm, ...", 6),
                    number("before", "Keep before it, s", 5),
                    number("after", "Keep after it, s", 10),
                    number("captures", "Stop after so many captures (0: never)", 0, "1"),
                ],
                className="fields",
                id="wait-figures",
                hidden=True,
            ),
        ],
        className="panel",
        role="group",
        **attributes(aria_labelledby="when-title"),
    )


def _case() -> Component:
    fields = [
        html.Div(
            [html.Label(label, htmlFor=f"case-{key}"), dcc.Input(id=f"case-{key}", autoComplete="off", **_REMEMBERED)]
        )
        for key, label in _DETAILS.items()
    ]
    return html.Section([html.H2("The case"), html.Div(fields, className="fields")], className="panel")


def register(app: Dash, context: Context) -> None:
    """Add its callbacks and addresses."""
    recorders = Recorders(context.folder)
    live_routes.add_routes(app.server, context, recorders)
    columns.register(app, range(1, _METERS + 1), meter_search.register(app))

    app.clientside_callback(  # type: ignore[no-untyped-call]
        f"kind => kind === '{_ALL}'",
        Output("wait-figures", "hidden"),
        Input("wait", "value"),
        prevent_initial_call=True,
    )

    @app.callback(
        Output("go-live", "pathname"),
        Output("start-error", "children"),
        Input("start", "n_clicks"),
        State("cautions-said", "data"),
        State("what", "value"),
        *(State(f"meter-{n}-{part}", "value") for n in range(1, _METERS + 1) for part in ("address", "label", "point")),
        *columns.STATES,
        *(State(f"wait{name}", "value") for name in ("", "-level", "-before", "-after", "-captures")),
        *(State(f"case-{key}", "value") for key in _DETAILS),
        running=[(Output("start", "disabled"), True, False), (Output("start", "children"), "Starting …", "Start")],
        prevent_initial_call=True,
    )
    def start(_: int, said: object, quantity: str, *values: Any) -> tuple[Any, str]:
        typed, (texts, ids), others = values[: 3 * _METERS], values[3 * _METERS :][:2], values[3 * _METERS + 2 :]
        waits, case = others[: -len(_DETAILS)], dict(zip(_DETAILS, others[-len(_DETAILS) :], strict=True))
        try:
            need_read(Quantity(quantity), said)
            meters = _addresses(typed, columns.named(texts, ids))
            name = recorders.start(_options(Quantity(quantity), meters, waits, case))
        except MeterlogError as error:
            return no_update, context.said(error)
        return live_address(name), ""


def _addresses(typed: tuple[Any, ...], named: columns.Named) -> list[str]:
    """The meters' addresses with their names and test points, those of each value where a meter shows several.

    Raises:
        MeterlogError: with one plain sentence.
    """
    rows = [[str(text or "").strip() for text in typed[i : i + 3]] for i in range(0, len(typed), 3)]
    rows = [[row[0], *named.get(number, row[1:])] for number, row in enumerate(rows, 1)]
    return [_address(*row) for row in rows if any(row)]


def _options(
    quantity: Quantity, addresses: list[str], waits: tuple[Any, ...], case: Mapping[str, str | None]
) -> RecorderOptions:
    """Read the form.

    Raises:
        MeterlogError: with one plain sentence.
    """
    kind, level, before_s, after_s, captures = waits
    details = {key: str(text or "").strip() for key, text in case.items()}
    if kind == _ALL:
        return RecorderOptions(addresses, details)
    condition = kind
    if kind not in ("open", "closed"):
        if level is None:
            raise UsageError("fill in the level to wait for")
        condition = f"{kind} {float(level):.12g}{quantity.unit}"
    return RecorderOptions(addresses, details, condition, float(before_s or 0), float(after_s or 0), int(captures or 0))


def _address(address: str, label: str, point: str) -> str:
    if not address:
        raise UsageError("a meter has a name but no address: pick one that was found, or type it")
    parsed = Address.parse(address)
    options = dict(parsed.options) | {key: text for key, text in (("label", label), ("point", point)) if text}
    return str(Address(parsed.scheme, parsed.target, options))
