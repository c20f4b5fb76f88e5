"""A job as one column: what is known, the next step as one card, what can be done now at the thumb, the chain."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from dash import dcc, html
from dash.development.base_component import Component

from meterlog.text.figures import percent
from meterlog_dashboard.cautions.panel import cautions_panel
from meterlog_dashboard.frame.elements import attributes
from meterlog_dashboard.frame.view import Context
from meterlog_dashboard.job import act_bar, card, history
from meterlog_dashboard.job.start import sentence

if TYPE_CHECKING:
    from meterlog.job.status import Status

Shown = tuple[Any, Any, Any, Any]


def layout(context: Context, name: str) -> Component:
    """The page of a job.

    Raises:
        MeterlogError: there is none of that name, or it cannot be used.
    """
    following, act, known, version = parts(context, name)
    return html.Div(
        [
            dcc.Store(id="job-name", data=name),
            dcc.Store(id="job-changed"),
            dcc.Store(id="job-shown", data=version),
            html.P(id="job-link", role="alert", className="job-link", hidden=True),
            cautions_panel(),
            html.Div(following, id="job-next"),
            html.Div(
                [
                    html.Div(
                        [
                            html.Output("", id="job-value", **attributes(aria_live="off")),
                            html.P("", id="job-value-said", className="small"),
                            html.Button("Stop waiting", id="job-stop", **attributes(data_do="stop")),
                        ],
                        id="job-live",
                        hidden=True,
                    ),
                    html.P(id="job-said", role="status"),
                    html.Div(act, id="job-act"),
                ],
                className="act-bar",
            ),
            html.Div(known, id="job-known"),
        ],
        id="job",
        **attributes(data_name=name),
    )


def parts(context: Context, name: str) -> Shown:
    """The next step, what can be done, what is known, and the version of the file that says so.

    Raises:
        MeterlogError: the job cannot be used.
    """
    status, version = context.jobs.status(name)
    return [*_head(status), *card.card(status)], act_bar.acts(context, status), history.known(status), version


def refused(words: str) -> Component:
    """Return what is shown instead where the job cannot be read any more."""
    return html.P(words, role="alert", className="error")


def _head(status: Status) -> Sequence[Component]:
    """Who and what, where it stands, and what is known in one sentence."""
    job = status.job
    state = html.Span(status.state, className=f"state {status.state}")
    return [
        html.H1([job.title, " ", state]),
        html.P(f"{sentence(_known(status)).rstrip('.')}.", className="job-known-words"),
    ]


def _known(status: Status) -> str:
    if status.job.waiting:
        return f"waits for: {status.job.waiting}{status.job.due and f', {status.job.due}'}"
    if status.job.repaired and status.state != "open":
        return f"{status.job.repaired} is repaired; proof: {status.proof.verdict}"
    if not status.diagnosis and status.chances:
        likeliest = list(status.chances.items())[:3]
        return ", ".join(f"{name.replace('-', ' ')} {percent(chance)}" for name, chance in likeliest)
    return status.verdict
