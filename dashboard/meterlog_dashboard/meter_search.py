"""Finds meters for the form: the ports that the system lists at once; listening and Bluetooth on a button."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator

from dash import Dash, Input, Output, ctx, dcc, html
from dash.development.base_component import Component

from meterlog.address import Address
from meterlog.errors import MeterlogError
from meterlog_dashboard.view import attributes

_LISTEN_S = 5.0
_SCAN_S = 3.0

Found = tuple[str, str]
"""An address, '' where there is none to use, and what is known of it."""

_TRY = ("sim:healthy-prime", "no meter at hand: a simulated van, its pump fed for 2 s at key-on")


def panel() -> Component:
    """What is found, with the buttons that look further."""
    return html.Div(
        [
            html.Div(_list([*_ports(), _TRY]), id="found-meters"),
            html.Div(
                [
                    html.Button("Listen which driver fits", id="listen"),
                    html.Button("Look for Bluetooth meters", id="look-bluetooth"),
                ],
                className="row",
            ),
            dcc.Interval(id="search-tick", interval=500, disabled=True),
            html.P("", id="search-said", role="status", className="soft"),
        ]
    )


def register(app: Dash) -> None:
    """Add its callbacks."""
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
            search.begin(_listen, f"Listening up to {_LISTEN_S:g} s to each port …")
        elif ctx.triggered_id == "look-bluetooth":
            search.begin(_bluetooth, f"Looking for {_SCAN_S:g} s …")
        found, said = search.state()
        return _list([*found, *([] if found else _ports()), _TRY]), said, not said


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
                self._found.append(("", str(error)))
        finally:
            with self._lock:
                self._said = ""

    def state(self) -> tuple[list[Found], str]:
        """What was found so far, and what goes on; '' when it is over."""
        with self._lock:
            return list(self._found), self._said


def _ports() -> list[Found]:
    from meterlog.transports.usb_port import ports

    named = [(port.device, str(getattr(port, "description", "") or "")) for port in ports()]
    return [(str(Address("auto", device)), "" if what == "n/a" else what) for device, what in named]


def _listen() -> Iterator[Found]:
    from meterlog.probe import probe
    from meterlog.transports.usb_port import ports

    listed = [port.device for port in ports()]
    if not listed:
        yield "", "The system lists no serial ports: plug the meter's cable in."
    for port in listed:
        try:
            finding = probe(port, _LISTEN_S)
        except MeterlogError as error:
            yield "", str(error)
            continue
        if finding.address is None:
            yield "", f"{port}: {finding.doubt}"
        else:
            yield str(finding.address), finding.fits[0].evidence if finding.fits else "answers when asked"


def _bluetooth() -> Iterator[Found]:
    from meterlog.transports.ble import scan

    peripherals = scan(_SCAN_S)
    if not peripherals:
        yield "", "No Bluetooth meter was heard: is its Bluetooth on?"
    for one in peripherals:
        signal = "" if one.rssi_dbm is None else f", {one.rssi_dbm} dBm"
        yield str(Address("ble", one.address)), f"{one.name or 'no name'}{signal}"


def _list(found: list[Found]) -> Component:
    """Buttons that `live.js` puts into the first empty address."""
    lines = [
        html.Li(
            [html.Button(f"Use {address}", className="use", **attributes(data_address=address)), html.Span(what)]
            if address
            else what
        )
        for address, what in found
    ]
    return html.Ul(lines, className="found")
