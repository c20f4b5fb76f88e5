"""Shows a case on a circuit: the verdict, the next measurement, and the chain of parts with its readings."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from dash import html
from dash.development.base_component import Component

from meterlog.cautions import DEFERS, applying, first_said
from meterlog.circuit import Circuit, Part
from meterlog.circuit.acts import beginning, trying
from meterlog.circuit.hypotheses import Hypothesis
from meterlog.circuit.model.chain_text import branch_heads
from meterlog.circuit.model.part import BATTERY_MINUS
from meterlog.circuit.next_measurement.propose import Step
from meterlog.circuit.next_measurement.suggest import Suggestion
from meterlog.circuit.readings.observed import Observed
from meterlog.text.figures import percent
from meterlog.text.ids import plain
from meterlog_dashboard.circuit.case import Case
from meterlog_dashboard.circuit.form import NOTHING_ELSE
from meterlog_dashboard.frame.elements import attributes

_LEAST_EXPLAINED = 0.02
"""Parts with a lower probability than this show no reasons; a guess."""
_MOST_IN_VIEW = 3
"""Cautions on all of a circuit that stand in full view; they come in the order of what they cost. A choice."""
_MOST_SENTENCES = 3
"""Reasons for and against a part, each."""


def places(circuit: Circuit) -> Any:
    """The places of a probe, for the form: points, then parts (across or through them), then commands."""
    named = [*circuit.point_of, *circuit.part_index, *circuit.commands]
    if BATTERY_MINUS not in named:
        named.append(BATTERY_MINUS)
    return [{"label": plain(id_), "value": id_} for id_ in named]


def unpluggable(circuit: Circuit, loads: Sequence[int]) -> Any:
    """Some loads that may be unplugged while something is read or tried, for the form."""
    named = [circuit.parts[k].id for k in loads]
    return [
        *({"label": words, "value": none} for none, words in NOTHING_ELSE.items()),
        *({"label": plain(id_), "value": id_} for id_ in named),
    ]


def verdict(case: Case) -> Component:
    """The one sentence, what contradicts, and what could not be used."""
    found = case.diagnosis
    checks = [html.P([html.Strong("Check: "), plain(sentence)], className="note") for sentence in found.inconsistent]
    unused = [html.Li(sentence) for sentence in case.left_out]
    more = html.Details([html.Summary(f"Not used of the sessions: {len(unused)}"), html.Ul(unused)]) if unused else None
    said = plain(found.verdict.removesuffix(f"; {DEFERS}."))
    return html.Div(
        [
            html.P(f"{said[:1].upper()}{said[1:]}.", className="panel large"),
            *checks,
            more,
        ]
    )


def suggestion(case: Case) -> Component:
    """The next measurement in large type, with what each outcome would mean and what to mind."""
    now, whole = _cautions(case)
    before, always = _mind("⚠ Before you do that", now), _always(whole)
    if not case.diagnosis.steps:
        said = html.P(plain(case.diagnosis.enough), className="large")
        return html.Section([said, before, always], className="panel")
    best = case.diagnosis.steps[0]
    outcomes = [html.Li([html.Strong(f"{seen}: "), plain(meaning)]) for seen, meaning in best.outcomes]
    others = [html.Li(f"{_named(one)}: about {one.minutes:.0f} min") for one in case.diagnosis.steps[1:]]
    return html.Section(
        [
            html.H2("Measure next" if isinstance(best, Suggestion) else "Try next"),
            html.P(_named(best), className="next"),
            None if isinstance(best, Suggestion) else html.P(best.how.text),
            html.P(f"About {best.minutes:.0f} min. It tells you most for the time it takes.", className="soft"),
            html.P(best.again) if isinstance(best, Suggestion) and best.again else None,
            before,
            html.Ul(outcomes),
            html.Details([html.Summary("Or one of these"), html.Ul(others)]) if others else None,
            always,
        ],
        className="panel",
    )


def _mind(heading: str, texts: Sequence[str]) -> Component | None:
    if not texts:
        return None
    return html.Div([html.Strong(heading), html.Ul([html.Li(text) for text in texts])], className="caution")


def _always(texts: Sequence[str]) -> Component | None:
    """Show the most dangerous on all of the circuit in full view, the others one press away."""
    if len(texts) <= _MOST_IN_VIEW:
        return _mind("⚠ On this circuit", texts)
    first, others = texts[:_MOST_IN_VIEW], texts[_MOST_IN_VIEW:]
    more = html.Details([html.Summary(f"{len(others)} more to mind"), html.Ul([html.Li(text) for text in others])])
    said = [html.Strong("⚠ On this circuit"), html.Ul([html.Li(text) for text in first]), more]
    return html.Div(said, className="caution")


def _cautions(case: Case) -> tuple[list[str], list[str]]:
    said = set[str]()
    found = case.diagnosis
    now = first_said(said, found.steps[0].cautions if found.steps else found.repair_cautions)
    return now, first_said(said, applying(beginning(case.circuit)))


def feed_cautions(case: Case) -> Component:
    """The cautions before a feed or a bridge, but for those that `suggestion` says already."""
    circuit = case.circuit
    feeds = [trying(circuit, "feed", circuit.parts[0].id, id_) for id_ in circuit.point_of]
    feeds += [trying(circuit, "bridge", part.id) for part in circuit.parts[1:] if part.kind not in ("motor", "load")]
    now, whole = _cautions(case)
    return html.Ul([html.Li(text) for text in first_said({*now, *whole}, applying(*feeds))])


def _named(step: Step) -> str:
    if not isinstance(step, Suggestion):
        return plain(step.title)
    words = plain(f"{step.measurement.quantity} {step.place}")
    return words[:1].upper() + words[1:]


def chain(case: Case) -> Component:
    """The parts from battery + round to battery -, each with its probability and, after it, what was read there."""
    chances = {h.part: h for h in case.diagnosis.hypotheses}
    own_from = len(case.measured) - case.own
    items: list[Component] = [html.Li(_healthy(case.diagnosis.healthy), className="part healthy")]
    placed: set[int] = set()
    heads = branch_heads(case.circuit)
    for place, part in enumerate(case.circuit.parts):
        if place in heads:
            items.append(html.Li(plain(heads[place]), className="point"))
        items.append(html.Li(_part(case, part, chances)))
        here = [k for k, m in enumerate(case.measured) if k not in placed and _node(case.circuit, m.at) == place]
        placed.update(here)
        names = [point.id for point in case.circuit.points if point.after == part.id]
        if names or here:
            items.append(html.Li(_point(case, names, here, own_from), className="point"))
    tried = [html.Li(_tried(case, place), className="point") for place in range(len(case.tried))]
    legend = "Current flows from the top down. The bar and the figure are the chance that this part is at fault."
    return html.Section(
        [
            html.H2(f"The chain: {case.circuit.name}"),
            html.P(legend, className="soft small"),
            html.Ol([*items, *tried], className="chain"),
            html.P(f"Fault rates: {case.diagnosis.rates_source}.", className="soft small"),
        ]
    )


def _node(circuit: Circuit, id_: str) -> int:
    """The part after which a reading is shown."""
    return circuit.commands[id_] if id_ in circuit.commands else circuit.node(id_)


def _healthy(probability: float) -> list[Component]:
    return [html.Div([html.Strong("nothing wrong in this circuit"), _chance(probability)], className="part-head")]


def _part(case: Case, part: Part, chances: dict[str, Hypothesis]) -> list[Component]:
    found = chances.get(part.id)
    command = chances.get(part.command) if part.command else None
    kind = plain(part.kind)
    name = plain(part.id) if kind in plain(part.id) else f"{plain(part.id)} ({kind})"
    top = case.diagnosis.hypotheses[0].part if case.diagnosis.hypotheses else ""
    marked = "part likely" if top == part.id and found and found.probability > case.diagnosis.healthy else "part"
    parts: list[Component] = [
        html.Div([html.Strong(name), _chance(found.probability if found else 0.0)], className="part-head")
    ]
    if found and found.probability >= _LEAST_EXPLAINED:
        parts.append(_why(found))
    if part.command:
        chance = command.probability if command else 0.0
        parts.append(html.Div([html.Span(f"closed by {plain(part.command)}"), _chance(chance)], className="part-head"))
        if command and command.probability >= _LEAST_EXPLAINED:
            parts.append(_why(command))
    return [html.Div(parts, className=marked)]


def _chance(probability: float) -> Component:
    width = f"{max(0.0, min(1.0, probability)) * 100:.1f}%"
    bar = html.Span(html.Span(style={"width": width}), className="bar", **attributes(aria_hidden="true"))
    share = "under 1 %" if probability < 0.01 else percent(probability)
    return html.Span([bar, html.Span(share, className="share")], className="chance")


def _why(h: Hypothesis) -> Component:
    sentences: Sequence[Component] = [
        *(html.Li(f"for: {plain(sentence)}") for sentence in h.speaks_for[:_MOST_SENTENCES]),
        *(html.Li(f"against: {plain(sentence)}") for sentence in h.speaks_against[:_MOST_SENTENCES]),
    ]
    if not sentences:
        return html.Div(h.title, className="soft small")
    return html.Details([html.Summary(h.title), html.Ul(list(sentences))], className="small")


def _point(case: Case, names: Sequence[str], here: Sequence[int], own_from: int) -> list[Component]:
    parts: list[Component] = [html.Span(f"● {' = '.join(plain(name) for name in names)}" if names else "●")]
    for k in here:
        m = case.measured[k]
        words = f"{m.shown} {plain(m.place)}"
        button = _take_out("measured", k - own_from, words) if k >= own_from else None
        parts.append(html.Div([html.Span(words, className="reading"), button]))
    return parts


def _take_out(kind: str, place: int, words: str) -> Component:
    return html.Button("Take out", title=f"Take out {words}", **attributes(data_kind=kind, data_place=place))


def _tried(case: Case, place: int) -> list[Component]:
    own = place - (len(case.tried) - case.own_tried)
    told = case.tried[place]
    words = plain(str(told))
    what = "seen" if isinstance(told, Observed) else "tried"
    button = _take_out("tried", own, words) if own >= 0 else None
    return [html.Div([html.Span(f"{what}: {words}", className="reading"), button])]
