"""Says what can be done now, at the thumb: one large button, and below it undo, cannot reach, type it, lamp."""

from __future__ import annotations

from typing import TYPE_CHECKING
from urllib.parse import quote

from dash import dcc, html
from dash.development.base_component import Component

from meterlog.circuit.model.bulb import BRIGHTNESS
from meterlog.circuit.readings.measurement import UNITS
from meterlog_dashboard.frame.elements import attributes
from meterlog_dashboard.frame.view import Context
from meterlog_dashboard.job.start import sentence

if TYPE_CHECKING:
    from meterlog.circuit.model.circuit import Circuit
    from meterlog.circuit.next_measurement.attempts import Attempt
    from meterlog.circuit.readings.measurement import Measurement
    from meterlog.job.status import Status

_ANSWERS = {"unknown": "cannot tell"}


def acts(context: Context, status: Status) -> list[Component]:
    """The bar of a job."""
    following = status.next
    m = following.measurement
    if m is not None:
        return _measure(context, status, m)
    if following.attempt is not None and status.case is not None:
        return _came_of(status, status.case.circuit, following.attempt)
    if following.look is not None:
        look = following.look
        answers = [*look.answers, "unknown"]
        large = [
            _do("look", _ANSWERS.get(one, one), "main giant" if one != "unknown" else "giant", key=look.key, answer=one)
            for one in answers
        ]
        return [html.Div(large, className="row answers"), _small(status)]
    if following.kind == "look":
        return [*_circuits(context), _small(status)]
    if following.kind == "repair":
        return [*_repair(following.part), _small(status)]
    return [*_done(status), _small(status)]


def _came_of(status: Status, circuit: Circuit, attempt: Attempt) -> list[Component]:
    """A button for each thing that may come of what is tried."""
    from meterlog.circuit.next_measurement.attempt_words import result_words

    buttons = [
        _do("value", sentence(result_words(circuit, result)), "main giant", value=word)
        for word, result in zip(attempt.answers, attempt.results, strict=True)
    ]
    return [html.Div(buttons, className="row answers"), _small(status, _do("skip", "Cannot try it"))]


def _do(what: str, words: str, style: str = "", **said: str) -> Component:
    """A button that does something to the job; `job.js` sends it with the fields of its form."""
    return html.Button(words, className=style, **attributes(data_do=what, **{f"data_{k}": v for k, v in said.items()}))


def _opens(part: str, words: str) -> Component:
    return html.Button(words, **attributes(data_opens=part, aria_expanded="false"))


def _small(status: Status, *more: Component) -> Component:
    undo = [_do("undo", "Undo")] if status.job.steps else []
    return html.Div([*more, *undo], className="row small-acts")


def _measure(context: Context, status: Status, m: Measurement) -> list[Component]:
    lamp = m.quantity == "lamp"
    meters = status.job.meters
    unit = UNITS[m.quantity]
    bright = [_do("value", word, "giant" if lamp else "", value=word) for word in BRIGHTNESS]
    if lamp:
        main: list[Component] = [html.Div(bright, className="row answers")]
    elif meters:
        main = [_do("measure", "Take it from the meter", "main giant wide")]
    else:
        main = [html.Button("Choose the meter", className="main giant wide", **attributes(data_opens="job-meter"))]
    typed = html.Div(
        [
            html.Label(f"The reading, in {unit}" if unit else "How bright the lamp is", htmlFor="job-typed"),
            html.Div(
                [_text("job-typed", 40, f"{m.quantity} {m.place}"), _do("value", "Enter", "main", field="job-typed")],
                className="row typed",
            ),
        ],
        id="job-type",
        className="opened",
        hidden=True,
    )
    lamps = html.Div(
        [html.P("The lamp between the two places is"), html.Div(bright, className="row answers")],
        id="job-lamp",
        className="opened",
        hidden=True,
    )
    small = [_opens("job-type", "Type it"), *([] if lamp else [_opens("job-lamp", "Lamp")])]
    small += [_do("skip", "Cannot reach")] + ([] if lamp else [_opens("job-meter", "Meter")])
    return [*main, typed, *([] if lamp else [lamps]), _meters(context, meters), _small(status, *small)]


def _meters(context: Context, meters: tuple[str, ...]) -> Component:
    """The meters in reach, the one that was used last first."""
    from meterlog.driver import discover

    found = dict.fromkeys([*meters, *_saved(), *_used_elsewhere(context)])
    found |= {str(one.address): None for one in discover.serial_ports() if one.address is not None}
    buttons = [_do("meter", address, meter=address) for address in list(found)[:6]]
    return html.Div(
        [
            html.P("The meter"),
            html.Div(buttons, className="row"),
            html.Label("Another address", htmlFor="job-address"),
            html.Div(
                [
                    _text("job-address", 300, "meter"),
                    _do("meter", "Use it", "main", field="job-address", **{"as": "meter"}),
                ],
                className="row typed",
            ),
        ],
        id="job-meter",
        className="opened",
        hidden=True,
    )


def _saved() -> list[str]:
    """Names of saved meters; none where the settings cannot be read: the terminal says why."""
    from meterlog.errors import SettingsError
    from meterlog.settings import read_settings

    try:
        return list(read_settings().meters)
    except SettingsError:
        return []


def _used_elsewhere(context: Context) -> list[str]:
    from meterlog.errors import MeterlogError

    found: list[str] = []
    for name in context.jobs.names()[:10]:
        try:
            found += context.jobs.read(name).meters
        except MeterlogError:
            continue
    return found


def _circuits(context: Context) -> list[Component]:
    from meterlog_dashboard.circuit.case import circuit_names

    names = circuit_names(context.folder)
    buttons = [_do("look", name.removesuffix(".toml").replace("-", " "), key="circuit", answer=name) for name in names]
    return [html.Div(buttons, className="row circuits")]


def _repair(part: str) -> list[Component]:
    def field(id_: str, label: str) -> Component:
        box = dcc.Input(id=id_, type="text", autoComplete="off", maxLength=300)
        return html.Div([html.Label(label, htmlFor=id_), box])

    fields = [
        field("job-price", "Price of the part"),
        field("job-minutes", "Minutes"),
        field("job-note", "What was done"),
    ]
    more = html.Details([html.Summary("Price, minutes, note"), html.Div(fields, className="fields")])
    return [more, _do("repaired", f"{part.replace('_', ' ')} is put right", "main giant wide", part=part)]


def _done(status: Status) -> list[Component]:
    name = status.job.folder.name
    report = html.A(
        "Report", href=f"/job/{quote(name, safe='')}/report.html", className="button main giant wide", download=""
    )
    return [report]


def _text(id_: str, longest: int, about: str) -> Component:
    """A text that this browser keeps until it is entered, for this question alone."""
    return dcc.Input(
        id=id_,
        type="text",
        autoComplete="off",
        maxLength=longest,
        persistence=about,
        persistence_type="session",
    )
