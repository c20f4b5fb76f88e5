"""Says what is known of a job: the chain of parts with chances and readings, what was done, and its texts to
correct."""

from __future__ import annotations

from typing import TYPE_CHECKING
from urllib.parse import quote

from dash import dcc, html
from dash.development.base_component import Component

from meterlog.circuit.readings.observed import questions
from meterlog.text.ids import plain
from meterlog_dashboard.aside.acts import file_acts
from meterlog_dashboard.circuit import display
from meterlog_dashboard.circuit.case import Case
from meterlog_dashboard.frame.addresses import session_address
from meterlog_dashboard.frame.elements import attributes
from meterlog_dashboard.job.start import sentence

if TYPE_CHECKING:
    from meterlog.job.job import Step
    from meterlog.job.status import Status


def known(status: Status) -> list[Component]:
    """The chain, the steps, and the texts."""
    acts = file_acts("job", status.job.folder.name)
    told = [_steps(status), *_proof(status), _notes(), _texts(status), acts]
    chain = _chain(status)
    return [*([html.Div(chain, className="job-chain")] if chain else []), html.Div(told, className="job-told")]


def _chain(status: Status) -> list[Component]:
    if status.case is None or status.diagnosis is None:
        return []
    measured, told = status.case.told(status.job.steps)
    case = Case(
        status.case.circuit,
        tuple(measured),
        0,
        tuple(told),
        0,
        (),
        status.case.diagnoser,
        status.diagnosis,
    )
    checks = [
        html.P([html.Strong("Check: "), sentence(text)], className="note") for text in status.diagnosis.inconsistent
    ]
    return [*checks, display.chain(case)]


def _proof(status: Status) -> list[Component]:
    if not status.job.repaired:
        return []
    lines = [html.Li(sentence(text.replace("+-", "±"))) for text in status.proof.sentences]
    return [html.Section([html.H2(f"The proof: {status.proof.verdict}"), html.Ul(lines)])]


def _steps(status: Status) -> Component:
    """Return what was done, the newest first; the first of them is what Undo takes back."""
    rows = [
        html.Li([html.Span(step.when[11:16], className="soft"), " ", _words(status, step), _shown(status, step)])
        for step in reversed(status.job.steps)
    ]
    return html.Section(
        [
            html.H2("What was done"),
            html.Ol(rows, className="steps", reversed="reversed") if rows else html.P("Nothing yet."),
        ]
    )


def _shown(status: Status, step: Step) -> Component | None:
    """The curve that a reading was taken from, or the photo."""
    name = status.job.folder.name
    session = step.values.get("session")
    if step.kind == "measured" and session and session not in status.job.missing_sessions:
        return dcc.Link("Its curve", href=session_address(f"{name}/{session}"), className="button curve")
    if step.kind != "photo":
        return None
    file = str(step.values["file"])
    source = f"/job/{quote(name, safe='')}/photo/{quote(file, safe='')}"
    return html.Img(src=source, alt=str(step.values.get("caption") or "a photo"), className="photo")


def _words(status: Status, step: Step) -> str:
    values = step.values
    if step.kind == "measured" and status.case is not None:
        how = "from the meter" if values.get("session") else "typed"
        return sentence(f"{status.case.measurement(values)} ({how})")
    if step.kind == "look":
        key = str(values["key"])
        asked = questions()[key].text if key in questions() else plain(key)
        return f"{sentence(asked)}: {values['answer']}"
    words = {
        "skipped": "could not be reached: {place}",
        "repaired": "put right: {part}",
        "waiting": "waits for: {reason}{due}",
        "closed": "closed: {reason}",
        "photo": "photo: {caption}",
        "note": "note: {text}",
    }
    if step.kind in words:
        due = f", due {values['until']}" if values.get("until") else ""
        return sentence(words[step.kind].format_map({"place": values.get("at"), "caption": "", "due": due, **values}))
    return sentence(f"{step.kind}: " + " ".join(str(value) for value in values.values()))


def _notes() -> Component:
    """Return what can be entered at any time."""
    return html.Section(
        [
            _entry("A note", "job-note-text", "note", "Add it", "text"),
            _photo(),
            _entry("Something was tried", "job-trial", "tried", "Enter it", "words", "bridged relay runs"),
            html.Details(
                [
                    html.Summary("Wait, or close"),
                    _text("It waits for", "job-waits", "relay, ordered"),
                    _entry("Due on, if you know", "job-until", "wait", "Wait", "until", "2026-12-01, or 3d"),
                    _entry("It is closed without a proof, because", "job-reason", "close", "Close", "reason"),
                ]
            ),
        ]
    )


def _photo() -> Component:
    """A photo from the camera or a file; `job.js` makes it small and sends it with its caption."""
    caption = dcc.Input(
        id="job-caption", type="text", autoComplete="off", maxLength=300, placeholder="burnt terminal 30"
    )
    button = html.Button("Take a photo", id="job-photo")
    return html.Div(
        [
            html.Label("A photo, with what it shows", htmlFor="job-caption"),
            html.Div([caption, button], className="row typed"),
        ]
    )


def _entry(label: str, id_: str, do: str, words: str, key: str, example: str = "") -> Component:
    button = html.Button(words, **attributes(data_do=do, data_field=id_, data_as=key))
    return html.Div([html.Label(label, htmlFor=id_), html.Div([_box(id_, example), button], className="row typed")])


def _text(label: str, id_: str, example: str) -> Component:
    """A text that is sent with the button of the entry below it."""
    return html.Div([html.Label(label, htmlFor=id_), html.Div(_box(id_, example), className="row typed")])


def _box(id_: str, example: str) -> Component:
    return dcc.Input(id=id_, type="text", autoComplete="off", maxLength=2000, placeholder=example, persistence=True)


def _texts(status: Status) -> Component:
    """Vehicle and complaint, to be corrected."""

    def field(key: str, label: str, text: str) -> Component:
        box = dcc.Input(id=f"job-{key}", type="text", value=text, autoComplete="off", maxLength=300)
        button = html.Button("Correct it", **attributes(data_do="correct", data_field=f"job-{key}", data_as=key))
        return html.Div([html.Label(label, htmlFor=f"job-{key}"), html.Div([box, button], className="row typed")])

    return html.Details(
        [
            html.Summary("Vehicle and complaint"),
            field("vehicle", "Vehicle", status.job.vehicle),
            field("complaint", "Complaint", status.job.complaint),
        ]
    )
