"""Counts the values that a meter shows at once, and has each named before the start: what has no name is not judged."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from dash import ALL, Dash, Input, Output, State, dcc, html
from dash.development.base_component import Component

from meterlog.capture.meters import LabelledColumns, meter_setup
from meterlog.driver.discover import Found
from meterlog.errors import MeterlogError, UsageError

MOST = 20
"""Values of one meter that get a field each; a guess."""
_PARTS = {"label": "Name of value", "point": "Test point of value"}

Named = dict[int, tuple[str, str]]
"""Holds the names of each meter's values, and their test points, with a comma between two; by the meter's number."""
STATES = (
    State({"column-part": ALL, "meter": ALL, "column": ALL}, "value"),
    State({"column-part": ALL, "meter": ALL, "column": ALL}, "id"),
)
"""Holds what stands in the fields, and which they are; for `named`."""


def place(meter: int) -> Component:
    """Return where a meter's values are named, once its address says that it shows several."""
    return html.Div(id=f"meter-{meter}-columns", className="columns")


def register(app: Dash, meters: Sequence[int], heard: Callable[[], Sequence[Found]]) -> None:
    """Add a callback for each meter that shows the fields; `heard` gives what was found by listening."""
    for meter in meters:
        _register(app, meter, heard)


def _register(app: Dash, meter: int, heard: Callable[[], Sequence[Found]]) -> None:
    @app.callback(Output(f"meter-{meter}-columns", "children"), Input(f"meter-{meter}-address", "value"))
    def show(address: str | None) -> list[Component]:
        names = names_of(str(address or "").strip(), heard())
        return _fields(meter, names) if len(names) > 1 else []


def names_of(address: str, heard: Sequence[Found]) -> list[str]:
    """Return the names of a meter's values as far as the meter itself has them, else empty ones; none while it is not
    known how many they are."""
    try:
        setup = meter_setup(address) if address else None
    except MeterlogError:  # said at the start
        setup = None
    if setup is None:
        return []
    readings = (reading for one in heard if str(one.address) == address for reading in one.readings)
    columns = setup.columns or max((reading.column + 1 for reading in readings), default=0)
    own = setup.labels or isinstance(setup.meter, LabelledColumns)
    return [setup.label(column) if own else "" for column in range(min(columns, MOST))]


def _fields(meter: int, names: Sequence[str]) -> list[Component]:
    def field(part: str, column: int, text: str) -> Component:
        id_ = {"column-part": part, "meter": meter, "column": column}
        box = dcc.Input(id=id_, type="text", value=text, autoComplete="off", maxLength=120)
        return html.Div([html.Label([f"{_PARTS[part]} {column + 1}", box])])

    said = f"It shows {len(names)} values at once. Name each: what has no name is kept, and not judged."
    pairs = [(field("label", column, name), field("point", column, "")) for column, name in enumerate(names)]
    return [html.P(said, className="note"), *(html.Div(pair, className="fields") for pair in pairs)]


def named(values: Sequence[Any], ids: Sequence[dict[str, Any]]) -> Named:
    """Read the fields, in any order.

    Raises:
        UsageError: a value has no name, two have the same, or a comma stands in a text.
    """
    texts: dict[int, dict[str, dict[int, str]]] = {}
    for value, id_ in zip(values, ids, strict=True):
        text = str(value or "").strip()
        if "," in text:
            raise UsageError(f"'{text}' is to name one value, and a comma begins the next: write it without")
        texts.setdefault(id_["meter"], {}).setdefault(id_["column-part"], {})[id_["column"]] = text
    return {meter: (_labels(meter, parts["label"]), _joined(parts["point"])) for meter, parts in texts.items()}


def _labels(meter: int, labels: dict[int, str]) -> str:
    if not all(labels.values()):
        raise UsageError(
            f"meter {meter} shows {len(labels)} values at once: name each, so that none is judged as another"
        )
    if len(set(labels.values())) < len(labels):
        raise UsageError(f"two values of meter {meter} have the same name: give each its own")
    return _joined(labels)


def _joined(texts: dict[int, str]) -> str:
    joined = ",".join(texts[column] for column in sorted(texts))
    return joined if joined.strip(",") else ""
