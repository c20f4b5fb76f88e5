"""Builds the report: one HTML file that needs no network."""

from __future__ import annotations

import json
import platform
import secrets
from collections.abc import Sequence
from datetime import datetime
from importlib.resources import files
from pathlib import Path

import jinja2
import numpy as np
from markupsafe import Markup

from meterlog import __version__
from meterlog.cautions import Act, applying, first_said
from meterlog.comparing import compare_captures
from meterlog.comparing.comparison_text import alignment_words, channel_name, excursions_words, headline, measure_words
from meterlog.drawing import drawing_library
from meterlog.drawing.palette import ROLES, trace_rules
from meterlog.drawing.primitives import Figure
from meterlog.errors import CompareError
from meterlog.exchange.finished_file import finished_file
from meterlog.loaded import Loaded
from meterlog.report.circuit import CircuitPart
from meterlog.report.content import SessionPart, session_part
from meterlog.report.job import JobPart
from meterlog.report.letterhead import Letterhead
from meterlog.sides import BEFORE_AFTER
from meterlog.signal.statistics_text import HEADINGS
from meterlog.text.figures import count, shown

MARKS = {
    "outside": "✗",
    "different": "✗",
    "cannot tell": "?",
    "within": "✓",
    "same within error": "✓",
}
"""A sign for each verdict, beside its word and its colour."""


def build_report(
    sessions: Sequence[Loaded],
    good: Sequence[Loaded] = (),
    title: str = "",
    circuit: CircuitPart | None = None,
    after: Sequence[Loaded] = (),
    job: JobPart | None = None,
    head: Letterhead | None = None,
    pair: tuple[Loaded, Loaded] | None = None,
) -> str:
    """The whole page.

    Args:
        sessions: what to report on, in this order.
        good: known-good captures that each session is compared with; none for no comparison.
        title: of the page; from what was entered about the first session where empty.
        circuit: which part of the circuit is at fault, where that was asked.
        after: what was recorded after the repair; then `sessions` are those before, and nothing is called known-good.
        job: the repair that the sessions belong to; it comes first.
        head: the shop, and the language of dates.
        pair: two recordings of one place beside the sessions, before and after a repair, which are compared.

    Raises:
        CompareError: not one of the sessions can be compared with the known-good.
    """
    parts = _before_and_after(sessions, after) if after else _parts(sessions, good)
    if pair is not None:
        parts = [*_pair(*pair), *parts]
    sessions = [*sessions, *after, *(pair or ())]
    environment = jinja2.Environment(
        loader=jinja2.FunctionLoader(template),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters["file_name"] = lambda path: Path(path).name
    environment.filters["plusminus"] = lambda text: str(text).replace("+-", "±")
    return environment.get_template("report.html").render(
        title=title or (_title_of(job) if job else _title(sessions)),
        head=head or Letterhead(),
        parts=parts,
        circuit=circuit,
        job=job,
        worst=_worst(parts) if parts else "",
        cautions=_cautions(sessions, circuit),
        versions=versions(),
        made=datetime.now().astimezone().isoformat(timespec="minutes"),
        marks=MARKS,
        headline=headline,
        channel_name=channel_name,
        shown=shown,
        statistics=HEADINGS,
        alignment_words=alignment_words,
        excursions_words=excursions_words,
        measure_words=measure_words,
        figure_json=figure_json,
        recordings=_recordings(parts),
        nonce=secrets.token_urlsafe(16),
        plotly=Markup(drawing_library().replace("</script", "<\\/script")),
        style=Markup(colours() + trace_rules(dark=False) + template("report.css")),
        script=Markup(template("report.js")),
    )


def colours() -> str:
    """The colours of the plots as the style sheet names them."""
    names = {"fault": ROLES["fault"], "unsure": ROLES["deviation"], "good": ROLES["good"]}
    return ":root {" + "".join(f" --{name}: {colour};" for name, colour in names.items()) + " }\n"


def _parts(sessions: Sequence[Loaded], good: Sequence[Loaded]) -> list[SessionPart]:
    """The sessions' parts; where some can be compared, the others say why they cannot."""
    if not good:
        return [session_part(capture, None) for capture in sessions]
    parts, refused = [], None
    for capture in sessions:
        try:
            parts.append(session_part(capture, compare_captures(good, capture)))
        except CompareError as error:
            refused = error
            parts.append(session_part(capture, None, str(error)))
    if refused is not None and not any(part.comparison for part in parts):
        raise refused
    return parts


def _before_and_after(before: Sequence[Loaded], after: Sequence[Loaded]) -> list[SessionPart]:
    """The sessions before, then those after; the last holds the comparison of all."""
    comparison = compare_captures(before, *after, sides=BEFORE_AFTER)
    return [
        *(session_part(capture, None, side=BEFORE_AFTER.reference) for capture in before),
        *(session_part(capture, None, side=BEFORE_AFTER.other) for capture in after[:-1]),
        session_part(after[-1], comparison, side=BEFORE_AFTER.other),
    ]


def _pair(before: Loaded, after: Loaded) -> list[SessionPart]:
    """Two sessions of one place, compared where that can be done; else the second says why not."""
    try:
        return _before_and_after([before], [after])
    except CompareError as error:
        first = session_part(before, None, side=BEFORE_AFTER.reference)
        return [first, session_part(after, None, str(error), side=BEFORE_AFTER.other)]


def _recordings(parts: Sequence[SessionPart]) -> str:
    """Return what the comparison of the recordings before and after says; empty where there is none."""
    compared = [part.comparison for part in parts if part.comparison is not None]
    return f"Their recordings, compared: {headline(compared[0])}" if compared else ""


def write_report(page: str, path: Path) -> None:
    """Write the page; a failure leaves no half of a report.

    Raises:
        SessionWriteFailed: it cannot be written there.
    """
    with finished_file(path, replace=True) as passing:
        passing.write_text(page, encoding="utf-8")


def template(name: str) -> str:
    return (files("meterlog.report") / "templates" / name).read_text("utf-8")


def _title(sessions: Sequence[Loaded]) -> str:
    vehicles = {capture.details.get("vehicle", "").strip() for capture in sessions} - {""}
    return f"Measurement report: {', '.join(sorted(vehicles))}" if vehicles else "Measurement report"


def _title_of(job: JobPart) -> str:
    vehicle = dict(job.details).get("vehicle", "")
    return f"Repair report: {vehicle}" if vehicle else "Repair report"


def _worst(parts: Sequence[SessionPart]) -> str:
    """The page's headline: how many findings are outside their limits, and whether anything differs."""
    if not parts:
        return "No recorded session is part of this report."
    compared = [part.comparison for part in parts if part.comparison is not None]
    if compared and compared[0].sides is BEFORE_AFTER:
        told = [
            f"{side.capitalize()}: {_outside([part for part in parts if part.side == side])}."
            for side in (BEFORE_AFTER.reference, BEFORE_AFTER.other)
        ]
        return f"{headline(compared[0])} {' '.join(told)}"
    words = _outside(parts)
    if compared:
        differs = sum(comparison.verdict == "different" for comparison in compared)
        words += f", {differs} of {count(len(parts), 'session')} different from the known-good"
    return f"{words[0].upper()}{words[1:]}."


def _outside(parts: Sequence[SessionPart]) -> str:
    outside = sum(finding.verdict == "outside" for part in parts for finding in part.findings)
    unknown = sum(finding.verdict == "cannot tell" for part in parts for finding in part.findings)
    words = f"{count(outside, 'finding') if outside else 'no findings'} outside the limits"
    return f"{words}, {unknown} that these readings cannot settle" if unknown else words


def _cautions(sessions: Sequence[Loaded], circuit: CircuitPart | None) -> list[str]:
    """Return what applies to what was recorded, but for what the next measurement says already."""
    quantities = sorted({channel.quantity for capture in sessions for channel in capture.measured})
    acts = [Act("record"), *(Act("record", quantity) for quantity in quantities), *([circuit.act] if circuit else [])]
    return first_said(set(circuit.mind if circuit else ()), applying(*acts))


def versions() -> str:
    return f"meterlog {__version__}, Python {platform.python_version()}"


def figure_json(figure: Figure) -> Markup:
    """A figure for a script element: no `<` can end it early."""
    text = json.dumps(figure, separators=(",", ":"), allow_nan=False, default=np.generic.item)
    return Markup(text.replace("<", "\\u003c").replace("\u2028", "\\u2028").replace("\u2029", "\\u2029"))
