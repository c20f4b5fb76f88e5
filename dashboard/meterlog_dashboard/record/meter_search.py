"""Finds meters for the form: the ports that the system lists at once; listening and Bluetooth on a button."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator

from dash import Dash, Input, Output, ctx, dcc, html
from dash.development.base_component import Component

from meterlog.address import Address
from meterlog.driver import discover
from meterlog.driver.discover import Found
from meterlog.driver.probe import LISTEN_S
from meterlog.errors import MeterlogError
from meterlog.settings import meter_address, read_settings
from meterlog_dashboard.frame.elements import attributes

_TRY = Found(
    "sim",
    "no meter at hand: a simulated van, its pump fed for 2 s at key-on",
    Address.parse("sim:healthy-prime"),
)


def panel() -> Component:
    """The meters that were found, with the buttons that look further."""
    return html.Div(
        [
            html.Div(found_list([*saved(), *discover.serial_ports(), _TRY]), id="found-meters"),
            html.Div(
                [
                    html.Button("Listen for meters on these ports", id="listen"),
                    html.Button("Look for Bluetooth meters", id="look-bluetooth"),
                ],
                className="row",
            ),
            dcc.Interval(id="search-tick", interval=500, disabled=True),
            html.P("", id="search-said", role="status", className="soft"),
        ]
    )


def register(app: Dash) -> Callable[[], list[Found]]:
    """Add its callbacks; return what gives the meters that were heard so far."""
    search = _Search()

    @app.callback(
        Output("found-meters", "children"),
        Output("search-said", "children"),
        Output("search-tick", "disabled"),
        Input("listen", "n_clicks"),
        Input("look-bluetooth", "n_clicks"),
        Input("search-tick", "n_intervals"),
        prevent_initial_call=True,
    )
    def look(*_: object) -> tuple[Component, str, bool]:
        if ctx.triggered_id == "listen":
            search.begin(_listen, f"Listening up to {LISTEN_S:g} s to each port …")
        elif ctx.triggered_id == "look-bluetooth":
            search.begin(_bluetooth, f"Looking for {discover.SCAN_S:g} s …")
        found, said = search.state()
        return found_list([*saved(), *found, *([] if found else discover.serial_ports()), _TRY]), said, not said

    return lambda: search.state()[0]


class _Search:
    """One search at a time, in a thread of its own."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._found: list[Found] = []
        self._said = ""

    def begin(self, look: Callable[[], Iterator[Found]], said: str) -> None:
        """Begin to look, unless that goes on already."""
        with self._lock:
            if self._said:
                return
            self._said, self._found = said, []
        threading.Thread(target=self._run, args=(look,), name="search for meters", daemon=True).start()

    def _run(self, look: Callable[[], Iterator[Found]]) -> None:
        try:
            for found in look():
                with self._lock:
                    self._found.append(found)
        except MeterlogError as error:
            with self._lock:
                self._found.append(Found("", str(error)))
        finally:
            with self._lock:
                self._said = ""

    def state(self) -> tuple[list[Found], str]:
        """The meters found so far, and what goes on; '' when it is over."""
        with self._lock:
            return list(self._found), self._said


def _listen() -> Iterator[Found]:
    ports = discover.serial_ports()
    if not ports:
        yield Found("", discover.NO_PORTS)
    yield from discover.listen(ports, LISTEN_S)


def _bluetooth() -> Iterator[Found]:
    peripherals = discover.peripherals()
    if not peripherals:
        yield Found("", discover.no_peripherals())
    yield from peripherals


def saved() -> list[Found]:
    """The meters that the user saved by name; one sentence where the settings cannot be understood."""
    try:
        return [Found(name, f"your meter '{name}'", meter_address(name)) for name in read_settings().meters]
    except MeterlogError as error:
        return [Found("", str(error))]


def found_list(found: list[Found]) -> Component:
    """Buttons; `record.js` puts their address into the form."""
    return html.Ul([html.Li(_parts(one)) for one in found], className="found")


def _parts(one: Found) -> list[Component]:
    words = [html.Span(text) for text in (one.what, *one.says) if text]
    if one.address is None:
        return [*([html.Strong(one.name)] if one.name else []), *words]
    address = str(one.address)
    return [html.Button(f"Use {address}", className="use", **attributes(data_address=address)), *words]
