"""A job through the page's addresses: the same file as the terminal's, one press for what was shown, nothing unread."""

from __future__ import annotations

import io
import json
import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from meterlog.job.job_file import add_step, add_steps, read_job
from meterlog_dashboard.frame.app import build
from meterlog_dashboard.gate.access import LOOPBACK, Access
from tests.job.vehicle import FUSE_BLOWN

BASE = "http://127.0.0.1"


@pytest.fixture
def client(tmp_path: Path) -> FlaskClient:
    made: FlaskClient = build(tmp_path, Access(LOOPBACK, 80, lan=None, announce=lambda _: None)).server.test_client()
    return made


def told(answer: TestResponse) -> dict[str, Any]:
    found = answer.get_json()
    assert isinstance(found, dict)
    return found


class OnPage:
    """A job as the page's script works it: each press says which version it was meant for."""

    def __init__(self, client: FlaskClient, **said: str) -> None:
        self.client = client
        made = client.post("/job/", json={"complaint": "no start", **said}, base_url=BASE)
        assert made.status_code == 200, told(made)
        self.name = told(made)["name"]

    def now(self) -> dict[str, Any]:
        return told(self.client.get(f"/job/{self.name}", base_url=BASE))

    def does(self, what: str, **said: object) -> str:
        """Press; the error, or nothing."""
        body = {"version": self.now()["version"], **said}
        answer = self.client.post(f"/job/{self.name}/{what}", json=body, base_url=BASE)
        assert answer.status_code in (200, 400)
        return str(told(answer).get("error", ""))


@pytest.fixture
def begin(client: FlaskClient) -> Callable[..., OnPage]:
    return lambda **said: OnPage(client, **said)


def status_in_terminal(folder: Path) -> dict[str, Any]:
    command = [sys.executable, "-m", "meterlog", "job", "status", str(folder), "--json"]
    found: dict[str, Any] = json.loads(subprocess.run(command, check=True, capture_output=True).stdout)
    return found


def test_what_the_page_enters_stands_in_the_file_of_the_terminal(begin: Callable[..., OnPage], tmp_path: Path) -> None:
    job = begin(vehicle="blue van", circuit="pump-feed")
    assert job.does("value", value="12.4") == ""
    assert job.does("note", text="smells of fuel") == ""
    assert job.does("correct", vehicle="red van") == ""
    assert job.does("wait", reason="relay", until="2999-12-01") == ""
    status = status_in_terminal(tmp_path / job.name)
    assert status["vehicle"] == "red van"
    assert status["waiting"] == {"reason": "relay", "until": "2999-12-01"}
    assert [(one["value"], one["unit"]) for one in status["readings"]] == [(12.4, "V")]


def test_what_the_terminal_enters_changes_the_version(begin: Callable[..., OnPage], tmp_path: Path) -> None:
    job = begin(circuit="pump-feed")
    before = job.now()["version"]
    add_step(tmp_path / job.name, "note", {"text": "from the terminal"})
    assert job.now()["version"] != before


def test_a_press_for_what_is_not_asked_any_more_enters_nothing(begin: Callable[..., OnPage], tmp_path: Path) -> None:
    job = begin(circuit="pump-feed")
    seen = job.now()["version"]
    assert job.does("value", value="12.4", version=seen) == ""
    assert "has moved on" in job.does("value", value="12.4", version=seen)  # the same press twice, or another tab's
    assert len(read_job(tmp_path / job.name).of("measured")) == 1
    assert job.does("note", text="means the same at any time", version=seen) == ""


def test_undo_and_cannot_reach(begin: Callable[..., OnPage], tmp_path: Path) -> None:
    job = begin(circuit="pump-feed")
    assert job.does("skip") == ""
    assert job.does("value", value="dim") == ""
    assert [step.kind for step in read_job(tmp_path / job.name).steps] == ["skipped", "measured"]
    assert job.does("undo") == ""
    assert job.does("undo") == ""
    assert "nothing was done yet" in job.does("undo")


def test_looks_lead_to_a_circuit_and_one_can_be_named(begin: Callable[..., OnPage], tmp_path: Path) -> None:
    job = begin(complaint="cranks, does not start")
    assert job.does("look", key="prime_heard", answer="no") == ""
    assert job.does("look", key="circuit", answer="pump-feed.toml") == "there is no circuit 'pump-feed.toml' here"
    assert "there is no circuit '/etc/passwd'" in job.does("look", key="circuit", answer="/etc/passwd")
    assert job.does("look", key="circuit", answer="pump-feed") == ""
    assert status_in_terminal(tmp_path / job.name)["circuit"] == "pump-feed"


def test_a_circuit_of_the_folder_is_copied_and_its_place_is_not_told(
    begin: Callable[..., OnPage], tmp_path: Path
) -> None:
    from meterlog.circuit.model.circuit_file import template_text

    (tmp_path / "mine.toml").write_bytes(template_text("horn"))
    job = begin()
    assert job.does("look", key="circuit", answer="mine.toml") == ""
    assert (tmp_path / job.name / "mine.toml").exists()
    assert str(tmp_path) not in (tmp_path / job.name / "job.toml").read_text()


@pytest.mark.parametrize(
    ("what", "said", "wrong"),
    [
        ("value", {"value": ""}, "type the reading first"),
        ("value", {"value": "1,234"}, "decimal comma"),
        ("value", {"value": "lots"}, "is not a number"),
        ("value", {"value": 12}, "'value' must be a text"),
        ("value", {"value": "1" * 3000}, "'value' must be a text of at most"),
        ("value", {"value": "12", "place": {"at": "carburettor"}}, "'at' is 'carburettor', which the circuit"),
        ("repaired", {"part": "carburettor"}, "has no part 'carburettor'"),
        ("repaired", {"part": "relay", "price": "dear"}, "'dear' is not a number"),
        ("tried", {"words": "hit it"}, "is no trial"),
        ("close", {"reason": ""}, "say why it is closed"),
        ("wait", {"reason": " "}, "say what it waits for"),
        ("wait", {"reason": "relay", "until": "Friday"}, "must be a date as YYYY-MM-DD"),
        ("note", {"text": " "}, "the note is empty"),
        ("meter", {"meter": ""}, "choose a meter"),
        ("meter", {"meter": "nonsense"}, "nonsense"),
        ("correct", {"complaint": ""}, "needs its complaint"),
        ("dance", {}, "a job does not know 'dance'"),
        ("measure", {}, "choose the meter first"),
    ],
)
def test_what_cannot_be_meant_is_said_and_changes_nothing(
    begin: Callable[..., OnPage], what: str, said: dict[str, object], wrong: str
) -> None:
    job = begin(circuit="pump-feed")
    before = job.now()["version"]
    assert wrong in job.does(what, **said)
    assert job.now()["version"] == before


def test_nothing_is_measured_before_the_cautions_were_read(begin: Callable[..., OnPage], tmp_path: Path) -> None:
    job = begin(circuit="pump-feed", meter="sim:healthy-prime?interval_s=0.05&speed=20")
    assert "the cautions for DC voltage were not read" in job.does("measure")
    assert "the cautions for DC voltage were not read" in job.does("measure", cautions=["resistance"])
    assert not list((tmp_path / job.name).glob("*.sqlite"))


def test_a_complaint_is_needed_and_a_wrong_meter_leaves_nothing_behind(client: FlaskClient, tmp_path: Path) -> None:
    wrong: list[object] = [{"complaint": ""}, {"complaint": "x", "meter": "nonsense"}, []]
    for said in [*wrong, {"complaint": "x", "circuit": "gone"}]:
        assert client.post("/job/", json=said, base_url=BASE).status_code == 400
    assert list(tmp_path.iterdir()) == []


def test_the_gate_stands_before_jobs_too(client: FlaskClient) -> None:
    foreign = {"Origin": "http://elsewhere.example"}
    assert client.post("/job/", json={"complaint": "x"}, base_url=BASE, headers=foreign).status_code == 403
    assert client.get("/job/x", base_url="http://elsewhere.example").status_code == 421


def test_the_report_is_one_file(begin: Callable[..., OnPage]) -> None:
    job = begin(circuit="pump-feed", vehicle="blue van")
    assert job.does("value", value="12.4") == ""
    report = job.client.get(f"/job/{job.name}/report.html", base_url=BASE)
    assert report.status_code == 200
    assert "blue van" in report.get_data(as_text=True)
    assert os.path.basename(report.headers["Content-Disposition"]).endswith(f"{job.name}.html")


def test_what_is_to_be_tried_is_answered_by_a_press(begin: Callable[..., OnPage], tmp_path: Path) -> None:
    job = begin(circuit="pump-feed")
    add_steps(tmp_path / job.name, FUSE_BLOWN)
    assert "'result' must be one of runs" in job.does("value", value="12.4")
    assert job.does("value", value="runs") == ""
    assert [dict(step.values) for step in read_job(tmp_path / job.name).of("tried")] == [
        {"replaced": "fuse", "result": "runs"}
    ]


def test_what_is_no_photo_is_refused_and_no_other_file_is_served(begin: Callable[..., OnPage]) -> None:
    job = begin(circuit="pump-feed")
    sent = {"photo": (io.BytesIO(b"noise"), "../../x.png"), "caption": "../../etc"}
    answer = job.client.post(f"/job/{job.name}/photo", data=sent, base_url=BASE)
    assert answer.status_code == 400
    assert "is no photo that can be read" in told(answer)["error"]
    assert told(job.client.post(f"/job/{job.name}/photo", base_url=BASE))["error"] == "choose a photo first"
    for file in ("job.toml", "pump-feed.toml"):
        assert job.client.get(f"/job/{job.name}/photo/{file}", base_url=BASE).status_code == 404
