"""Other programs hear by plain HTTP what a recording hears, whole and once, and never hold it up."""

from __future__ import annotations

import http.client
import json
import shutil
import threading
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import flask
import pytest
from werkzeug.serving import make_server

from meterlog.reading import Quantity, Reading
from meterlog.session import SessionWriter, open_reader
from meterlog.session.summary import Summary, summarize
from meterlog.stream.items import SessionItems
from meterlog_dashboard.frame.view import Context
from meterlog_dashboard.gate.access import LOOPBACK, Access
from meterlog_dashboard.programs import routes
from tests.waiting import until

RECORDINGS = Path(__file__).parents[2] / "recordings"
Told = list[dict[str, Any]]


class Recording:
    """A session that grows."""

    def __init__(self, path: Path) -> None:
        self.writer = SessionWriter.create(path)
        self.channel = self.writer.add_channel("feed", Quantity.DC_VOLTAGE, interval_s=0.1)
        self.count = 0

    def read(self, *values: float) -> None:
        """Let the meter show some values."""
        start_s = self.writer.monotonic_start_s + 0.1 * self.count
        self.count += len(values)
        self.writer.append(
            self.channel,
            [Reading(start_s + 0.1 * i, value, Quantity.DC_VOLTAGE, 0.01) for i, value in enumerate(values)],
        )
        self.writer.flush()


@pytest.fixture
def port(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[int]:
    """The port of a server that answers programs about the sessions in `tmp_path`, behind the page's gate."""
    monkeypatch.setattr(routes, "_LOOK_S", 0.01)
    server = flask.Flask("page")
    server.config["CONTENT_SECURITY_POLICY"] = ""
    served = make_server("127.0.0.1", 0, server, threaded=True)
    access = Access(LOOPBACK, served.server_port, None, print)
    routes.add_routes(server, Context.of(tmp_path, access))
    access.guard(server)
    thread = threading.Thread(target=served.serve_forever, args=(0.01,), daemon=True)
    thread.start()
    yield served.server_port
    served.shutdown()
    thread.join()
    served.server_close()


@pytest.fixture
def recording(tmp_path: Path) -> Iterator[Recording]:
    session = Recording(tmp_path / "live.sqlite")
    yield session
    session.writer.close()


class Listener:
    """A plain client: HTTP, lines, JSON.

    Attributes:
        status: of the answer.
        last_id: the identifier that was heard last.
    """

    def __init__(self, port: int, path: str, **headers: str) -> None:
        self._connection = http.client.HTTPConnection("127.0.0.1", port, timeout=30)
        self._connection.request("GET", f"/programs/v1/{path}", headers=headers)
        self._answer = self._connection.getresponse()
        self.status, self.last_id = self._answer.status, ""

    def json(self) -> Any:
        """Return the whole answer."""
        return json.loads(self._answer.read())

    def hear(self, until: str = "end", times: int = 1) -> Told:
        """Return the items up to one of a kind, and the identifier behind them."""
        heard: Told = []
        enough = False
        while line := self._answer.readline().decode():
            name, _, value = line.rstrip("\n").partition(": ")
            if name == "data":
                heard.append(json.loads(value))
                enough = sum(item["type"] == until for item in heard) >= times
            elif name == "id":
                self.last_id = value
                if enough:
                    break
        return heard

    def close(self) -> None:
        """Go away."""
        self._connection.close()


def test_a_finished_session_is_told_whole_and_the_answer_ends(port: int, tmp_path: Path) -> None:
    path = Path(shutil.copy(RECORDINGS / "key-on-suspect.sqlite", tmp_path))
    with closing(Listener(port, f"sessions/{path.name}")) as listener:
        heard = listener.hear("nothing of that kind")
    assert heard == list(SessionItems(path).look())
    assert [heard[0]["type"], heard[0]["version"], heard[-1]] == ["session", 1, {"type": "end", "ended": "clean"}]
    assert {item["type"] for item in heard} >= {"channel", "reading", "event", "marker"}


def test_what_is_recorded_is_heard_at_once_and_the_sessions_are_listed(port: int, recording: Recording) -> None:
    recording.read(0.0, 0.01)
    with closing(Listener(port, "sessions/live.sqlite")) as listener:
        assert [item["value"] for item in listener.hear("reading", 2) if item["type"] == "reading"] == [0.0, 0.01]
        recording.read(12.1, 12.2)
        assert [item["value"] for item in listener.hear("reading", 2)] == [12.1, 12.2]
        with closing(Listener(port, "sessions")) as other:
            known = other.json()
        assert known["version"] == 1
        assert [(one["session"], one["growing"], one["readings"]) for one in known["sessions"]] == [
            ("live.sqlite", True, 4)
        ]
        recording.writer.close()
        assert listener.hear()[-1] == {"type": "end", "ended": "clean"}


def test_the_list_opens_only_what_changed_and_leaves_out_what_cannot_be_read(
    port: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    opened: list[str] = []

    def noted(path: Path) -> Summary:
        opened.append(path.name)
        return summarize(path)

    def named() -> list[str]:
        with closing(Listener(port, "sessions")) as listener:
            return [one["session"] for one in listener.json()["sessions"]]

    monkeypatch.setattr("meterlog_dashboard.session_files.session_list.summarize", noted)
    for name in ("a.sqlite", "b.sqlite"):
        shutil.copy(RECORDINGS / "key-on-suspect.sqlite", tmp_path / name)
    (tmp_path / "torn.sqlite").write_bytes(b"no session" * 200)
    assert named() == ["a.sqlite", "b.sqlite"]
    opened.clear()
    shutil.copy(RECORDINGS / "key-on-good-1.sqlite", tmp_path / "b.sqlite")
    assert sorted(named()) == ["a.sqlite", "b.sqlite"]
    assert opened == ["b.sqlite"]


def test_a_listener_that_comes_again_goes_on_where_it_was(port: int, recording: Recording) -> None:
    recording.read(1.0, 2.0)
    with closing(Listener(port, "sessions/live.sqlite")) as listener:
        listener.hear("reading", 2)
        last_id = listener.last_id
    recording.writer.add_marker(0.05, "key-on")
    recording.read(3.0)
    recording.writer.close()
    with closing(Listener(port, "sessions/live.sqlite", **{"Last-Event-ID": last_id})) as listener:
        heard = listener.hear()
    assert sorted(item["type"] for item in heard) == ["end", "marker", "reading"]
    assert [item["value"] for item in heard if item["type"] == "reading"] == [3.0]


def test_a_listener_that_reads_nothing_does_not_hold_up_the_recording(port: int, recording: Recording) -> None:
    with closing(Listener(port, "sessions/live.sqlite")):
        for _ in range(10):
            recording.read(*[12.0 + i / 1000 for i in range(5000)])
        recording.writer.close()
    with open_reader(recording.writer.path) as reader:
        assert reader.count(recording.channel) == 50_000


def test_there_is_a_limit_of_listeners_and_who_goes_makes_room(port: int, recording: Recording) -> None:
    recording.read(1.0)
    listeners = [Listener(port, "sessions/live.sqlite") for _ in range(routes.LISTENERS)]
    with closing(Listener(port, "sessions/live.sqlite")) as refused:
        assert refused.status == 503
        assert "4 programs are listening already" in refused.json()["error"]
    recording.writer.close()
    for listener in listeners:
        assert listener.hear("nothing of that kind")[-1]["type"] == "end"
        listener.close()

    def let_in() -> bool:
        with closing(Listener(port, "sessions/live.sqlite")) as listener:
            return listener.status == 200

    until(let_in)


@pytest.mark.parametrize("name", ["absent.sqlite", "..%5Csecret.sqlite", "notes.txt"])
def test_what_is_no_session_of_the_folder_is_one_sentence(port: int, tmp_path: Path, name: str) -> None:
    (tmp_path / "notes.txt").write_text("mine")
    with closing(Listener(port, f"sessions/{name}")) as listener:
        assert listener.status == 404
        assert str(tmp_path) not in str(listener.json())


def test_another_sites_name_is_refused_at_the_gate(port: int) -> None:
    with closing(Listener(port, "sessions", Host="elsewhere.example")) as listener:
        assert listener.status == 421
