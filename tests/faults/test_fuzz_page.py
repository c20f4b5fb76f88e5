"""Whatever is asked of the page, by a browser or by anything else, it answers: no request ends in a traceback."""

from __future__ import annotations

import io
import random
import re
import shutil
from contextlib import redirect_stderr
from functools import lru_cache
from pathlib import Path
from typing import Any
from urllib.parse import quote

import pytest
from flask.testing import FlaskClient

from meterlog.job.entering import begin_with
from meterlog.job.job_file import create_job
from meterlog_dashboard.frame.app import build
from meterlog_dashboard.gate.access import LOOPBACK, Access
from meterlog_dashboard.job.actions import ACTS
from tests.faults.conftest import make_session
from tests.faults.test_damaged import REFUSED

LEFT_OUT = ("start.n_clicks", "listen.n_clicks", "look-bluetooth.n_clicks", "reading-live.n_clicks")
"""Left out, since it opens ports or starts a recorder; its addresses and commands are fuzzed by name."""

ODD: tuple[Any, ...] = (
    None, "", " ", "x", "é\u0000", "0", "-1", "nan", "1e400", "1,5", "<b>", "../a.sqlite", "a.sqlite", "b.sqlite",
    "damaged.sqlite", "gone.sqlite", "a" * 5000, 0, 1, -1, 7, 10**30, 1.5, -1e9, 1e308, float("nan"), float("inf"),
    True, [], [0], [5, 1], [1, 5], ["a.sqlite"], ["b.sqlite", "gone.sqlite"], [None, None], {},
    {"points": [{"x": "2026-03-01 08:00"}]},
    {"points": [{"x": 3.0, "curveNumber": 0}]}, {"xaxis.range[0]": 1, "xaxis.range[1]": 9}, {"start_s": 1, "end_s": 9},
    {"start_s": "x"}, [["a"]], [{"quantity": "voltage", "at": "fuse_out", "state": "key_on", "value": 12.0}],
    [{"quantity": "voltage"}], [{"feed": "battery", "into": "load", "result": "runs"}], "pump-feed", "fuse_out", "runs",
    "volts", "voltage", "key_on", "dead",
)  # fmt: skip
_SHAPE = re.compile(r"could not answer: (TypeError|KeyError|AttributeError|ValueError\(.* is not a valid Quantity)")
"""Values that no part of the page asks: a list where it sends a text, a word that no choice offers."""

NAMES = (
    "a.sqlite",
    "b.sqlite",
    "damaged.sqlite",
    "gone.sqlite",
    "",
    "..",
    "%2e%2e",
    "a" * 300,
    "é",
    "a.sqlite%00",
    "*",
)


@lru_cache(maxsize=1)
def _shop(folder: Path) -> tuple[FlaskClient, dict[str, Any]]:
    """The page over two sessions and a damaged one."""
    shop = folder / "shop"
    shop.mkdir()
    make_session(shop / "a.sqlite", 600)
    shutil.copy(shop / "a.sqlite", shop / "b.sqlite")
    shutil.copy(shop / "a.sqlite", shop / "damaged.sqlite")
    REFUSED["noise in the middle"](shop / "damaged.sqlite")
    job = create_job(shop / "van", complaint="no start", vehicle="van", meters=(), tool="meter", details={})
    begin_with(job, "pump-feed")
    app = build(shop, Access(LOOPBACK, 80, lan=None, announce=lambda _: None))
    app.server.config["PROPAGATE_EXCEPTIONS"] = True
    client = app.server.test_client()
    client.get("/")
    answered = {
        output: one for output, one in app.callback_map.items() if "callback" in one
    }  # here, not in the browser
    return client, answered


def fuzz_page(rng: random.Random, folder: Path) -> None:
    """A request: an address, a marker, or what a part of the page asks for.

    Raises:
        RuntimeError: the server failed, or what was wrong was not just the shape of the question.
    """
    client, callbacks = _shop(folder)
    kind = rng.random()
    if kind < 0.15:
        name, text = rng.choice(NAMES), quote(str(rng.choice(ODD)))
        path = rng.choice(
            (
                f"/live/{name}?after={text}&epoch={text}",
                f"/files/{name}/{rng.choice(('csv', 'html', 'x'))}?good={text}",
                f"/sessions/{name}",
                f"/job/{name}",
                f"/job/{name}/report.html",
                f"/jobs/{name}",
                f"/{text}",
                f"/view-files/{text}",
                f"/assets/{text}",
            )
        )
        status = client.get(path, buffered=True).status_code  # read to its end and closed, as a server does
        asked: object = path
    elif kind < 0.2:
        name = rng.choice((*NAMES, "van"))
        said = {key: rng.choice(ODD) for key in ("value", "key", "answer", "part", "place", "text", "reason", "meter")}
        asked = rng.choice((said, [], None, rng.choice(ODD)))
        if isinstance(asked, dict) and rng.random() < 0.8:
            version = (client.get(f"/job/{name}").get_json(silent=True) or {}).get("version")
            asked |= {"version": version}
        what = rng.choice(("", *sorted(ACTS), "stop", "dance"))
        status = client.post(f"/job/{name}/{what}", json=asked).status_code
    elif kind < 0.25:
        press = {"name": rng.choice(ODD), "ago_s": rng.choice(ODD), "id": rng.choice(ODD)}
        asked = rng.choice((press, {"name": rng.choice(ODD)}, {}, [], rng.choice(ODD)))
        status = client.post(f"/live/{rng.choice(NAMES)}/{rng.choice(('marker', 'stop'))}", json=asked).status_code
    else:
        asked = _question(rng, callbacks)
        told = io.StringIO()
        with redirect_stderr(told):
            status = client.post("/_dash-update-component", json=asked).status_code
        if told.getvalue() and not _SHAPE.search(told.getvalue()):
            raise RuntimeError(f"{told.getvalue()} for {asked}")
    if status >= 500:
        raise RuntimeError(f"{status} for {asked}")


def _question(rng: random.Random, callbacks: dict[str, Any]) -> dict[str, object]:
    """Return what the browser sends when something changed, with odd values in it."""
    output = rng.choice(sorted(callbacks))
    one = callbacks[output]
    inputs = [{**part, "value": rng.choice(ODD)} for part in one["inputs"]]
    if output == "view.children":
        view = rng.choice(("jobs", "record", "sessions", "compare", "circuit", ""))
        inputs[0]["value"] = f"/{view}/{rng.choice((*NAMES, ''))}"
        inputs[1]["value"] = rng.choice(
            (None, "?suspect=a.sqlite&good=b.sqlite", "?circuit=x", "?=&&", "?good=gone.sqlite")
        )
    names = [f"{part['id']}.{part['property']}" for part in inputs]
    state = [{**part, "value": rng.choice(ODD)} for part in one["state"]]
    for part in (*inputs, *state):
        if part["id"].endswith("-name") and rng.random() < 0.8:
            part["value"] = "a.sqlite" if part["id"] == "review-name" else "pump-feed"
    triggers = [name for name in names if name not in LEFT_OUT] or [""]
    outputs = [_output(part) for part in output.strip(".").split("...")]
    return {
        "output": output,
        "outputs": outputs if output.startswith("..") else outputs[0],
        "inputs": inputs,
        "state": state,
        "changedPropIds": [rng.choice(triggers)],
    }


def _output(text: str) -> dict[str, str]:
    name, _, prop = text.partition("@")[0].rpartition(".")
    return {"id": name, "property": prop}


def test_no_request_ends_in_a_traceback(tmp_path: Path) -> None:
    for i in range(150):
        try:
            fuzz_page(random.Random(f"page {i}"), tmp_path)
        except Exception as error:
            pytest.fail(f"'page {i}': {error!r}")


def test_a_name_that_is_too_long_for_a_file_is_no_session(tmp_path: Path) -> None:
    client, _ = _shop(tmp_path)
    assert client.get(f"/live/{'a' * 300}.sqlite").status_code == 404
