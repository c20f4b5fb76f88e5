"""The addresses of what can be downloaded, and the links to a session's."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from typing import Any
from urllib.parse import quote, urlencode

from dash import html
from dash.development.base_component import Component

from meterlog_dashboard.frame.elements import attributes


def table_address(name: str, suffix: str) -> str:
    """The address of a session as a table; `suffix` is `csv` or `parquet`."""
    return f"/files/{quote(name, safe='')}/{suffix}"


def report_address(names: Sequence[str], key: str = "good", reference: Iterable[str] = ()) -> str:
    """The address of a report.

    Args:
        names: the sessions that it is of, one or more.
        key: `good` or `before`: what `reference` is.
        reference: the sessions that they are compared with.
    """
    asked = urlencode([*(("also", one) for one in names[1:]), *((key, one) for one in reference)])
    return f"/files/{quote(names[0], safe='')}/html" + (f"?{asked}" if asked else "")


def circuit_address(circuit: str, sessions: Iterable[str], rows: Sequence[Mapping[str, Any]], dead: bool) -> str:
    """The address of a circuit's report; arguments as `circuit.case.weigh` takes them."""
    asked = [("circuit", circuit), *(("session", one) for one in sessions)]
    asked += [("dead", "yes")] if dead else []
    asked += [("rows", json.dumps(rows))] if rows else []
    return f"/files/circuit.html?{urlencode(asked)}"


def session_links(name: str) -> list[Component]:
    """The report of a session, and its readings as tables: one press each."""
    return [
        html.A("Report", href=report_address([name]), className="button main", download=""),
        *(_table_link(name, suffix, words) for suffix, words in (("csv", "CSV"), ("parquet", "Parquet"))),
    ]


def _table_link(name: str, suffix: str, words: str) -> Component:
    """`downloads.js` says how far it is, once it is pressed."""
    href = table_address(name, suffix)
    return html.A(words, href=href, className="button", download="", **attributes(data_table=words))
