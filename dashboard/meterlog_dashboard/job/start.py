"""The start page: every job, the one that changed last first, and one large button for a new one; and its form."""

from __future__ import annotations

from datetime import datetime

from dash import dcc, html
from dash.development.base_component import Component

from meterlog.errors import MeterlogError
from meterlog.text.ids import plain
from meterlog_dashboard.aside.acts import put_back_list
from meterlog_dashboard.aside.jobs import removed
from meterlog_dashboard.frame.addresses import job_address
from meterlog_dashboard.frame.elements import attributes, dropdown
from meterlog_dashboard.frame.view import Context

_MOST_WITH_VERDICT = 30
"""Jobs that are weighed for the list, in tenths of a second each at the first look; the others are named alone."""
_MOST = 500
"""Jobs listed. A guess: more are not read."""
_STATES = {"open": "open", "waiting": "waiting", "repaired": "repaired, not proved yet", "proved": "proved"}


def page(context: Context) -> Component:
    """The list."""
    names = context.jobs.names()
    entries = [html.Li(_entry(context, name, place < _MOST_WITH_VERDICT)) for place, name in enumerate(names[:_MOST])]
    first = "No job yet. A job leads from the complaint to the proof of the repair, one step after the other."
    return html.Div(
        [
            html.H1("Jobs"),
            dcc.Link("New job", href="/jobs/new", className="button main giant new-job"),
            html.Ul(entries, className="session-list") if entries else html.P(first, className="panel large"),
            put_back_list("job", removed(context.jobs)),
        ],
        className="jobs",
    )


def _entry(context: Context, name: str, weighed: bool) -> Component:
    if not weighed:
        return dcc.Link([html.Strong(name)], href=job_address(name), className="session")
    try:
        status = context.jobs.known(name)
    except MeterlogError as error:
        return html.Div([html.Strong(name), html.Span(context.said(error), className="line")], className="panel error")
    changed = datetime.fromtimestamp((context.jobs.folder(name) / "job.toml").stat().st_mtime).astimezone()
    job = status.job
    return dcc.Link(
        [
            html.Strong(job.title),
            html.Span(f"{changed:%Y-%m-%d %H:%M}", className="when"),
            html.Span(_STATES.get(status.state, status.state), className=f"state {status.state}"),
            html.Span(sentence(status.verdict), className="line"),
            html.Span(name, className="line soft"),
        ],
        href=job_address(name),
        className="session",
    )


def sentence(words: str) -> str:
    """Words of the diagnosis as a person reads them, with a capital."""
    said = plain(words).strip()
    return said[:1].upper() + said[1:]


def form(context: Context) -> Component:
    """Return what is asked for at the beginning: the complaint alone is needed."""
    from meterlog.circuit.complaints.complaint_file import complaints
    from meterlog_dashboard.circuit.case import circuit_names

    known = [one.text for one in complaints()]
    remembered = _remembered(context)
    chips = [html.Button(text, className="complaint", **attributes(data_complaint=text)) for text in known]
    return html.Div(
        [
            html.H1("New job"),
            html.Div([html.Label("What the driver says", htmlFor="new-complaint"), _field("complaint", remembered)]),
            html.Div(chips, className="row complaints"),
            html.Div(
                [
                    html.Div([html.Label("Vehicle", htmlFor="new-vehicle"), _field("vehicle", remembered)]),
                    html.Div([html.Label("Meter: its address", htmlFor="new-meter"), _field("meter", remembered)]),
                    dropdown(
                        "new-circuit",
                        "Circuit, if it is known",
                        circuit_names(context.folder),
                        placeholder="quick looks lead to it",
                    ),
                ],
                className="fields",
            ),
            dcc.Checklist([{"label": "a test lamp is all there is", "value": "lamp"}], [], id="new-tool"),
            html.Div(
                [
                    html.P(id="new-said", role="alert", className="start-error"),
                    html.Button("Begin", id="new-begin", className="main giant"),
                ],
                className="act-bar",
            ),
        ],
        id="new-job",
    )


def _field(key: str, remembered: dict[str, list[str]]) -> Component:
    """A text that this browser keeps until the job is begun, with what was entered in other jobs to choose from."""
    options = [html.Option(value=text) for text in remembered.get(key, [])]
    box = dcc.Input(
        id=f"new-{key}",
        type="text",
        autoComplete="off",
        maxLength=300,
        list=f"new-{key}-known",
        persistence=True,
        persistence_type="local",
        className="wide",
    )
    return html.Div([box, html.Datalist(options, id=f"new-{key}-known")])


def _remembered(context: Context) -> dict[str, list[str]]:
    """Return what earlier jobs and sessions say, the newest first, each once."""
    found: dict[str, dict[str, None]] = {key: {} for key in ("vehicle", "complaint", "meter")}
    for name in context.jobs.names()[:_MOST_WITH_VERDICT]:
        try:
            job = context.jobs.read(name)
        except MeterlogError:
            continue
        found["meter"] |= dict.fromkeys(job.meters)
        found["vehicle"] |= dict.fromkeys([job.vehicle])
        found["complaint"] |= dict.fromkeys([job.complaint])
    for summary in context.listed.so_far()[0]:
        for key in ("vehicle", "complaint"):
            found[key] |= dict.fromkeys([summary.details.get(key, "")])
    return {key: [text for text in texts if text] for key, texts in found.items()}
