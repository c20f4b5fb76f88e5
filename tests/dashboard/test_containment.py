"""Nobody gets out of the page's folder, in from another site, or the better of its server with a question."""

from __future__ import annotations

import io
import os
import re
import tempfile
from pathlib import Path
from typing import Any
from urllib.parse import quote

import flask
import pytest
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from meterlog.job.entering import begin_with
from meterlog.job.job_file import create_job
from meterlog_dashboard.frame.app import build
from meterlog_dashboard.gate.access import LOOPBACK, Access
from tests.faults.conftest import make_session

BASE = "http://127.0.0.1"
SECRET = "the secret of the neighbour"
ADDRESSES = (
    "/sessions/{}",
    "/record/{}",
    "/jobs/{}",
    "/live/{}",
    "/files/{}/csv",
    "/files/{}/parquet",
    "/files/{}/html",
    "/files/own.sqlite/html?good={}",
    "/files/own.sqlite/html?also={}",
    "/files/own.sqlite/html?before={}",
    "/files/circuit.html?circuit={}",
    "/files/circuit.html?circuit=pump-feed&session={}",
    "/job/{}",
    "/job/{}/report.html",
    "/job/van/photo/{}",
    "/programs/v1/sessions/{}",
    "/view-files/{}",
    "/assets/{}",
    "/_dash-component-suites/dash/{}",
    "/_dash-component-suites/meterlog_dashboard/{}",
)
FRAME = b'id="react-entry-point"'
"""The page's frame is the answer at every other address, and never the same twice."""
POSTS = (
    "/live/{}/marker",
    "/live/{}/stop",
    "/session/{}/rename",
    "/session/{}/remove",
    "/session/{}/put-back",
    "/job/{}/rename",
    "/job/{}/remove",
    "/job/{}/put-back",
    "/job/{}/note",
    "/job/{}/photo",
    "/job/{}/measure",
)
THERE = ("secret.sqlite", "secret", "secret.toml", "shop2/own.sqlite")
ROUND = ("../{}", "van/../../{}", "van/../{}", "./../{}", "..\\{}", ".removed/../../{}", "{}\0.sqlite")


@pytest.fixture(scope="module")
def town(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A shop, the page's folder, beside what is none of the page's business; and links from the one to the other."""
    town = tmp_path_factory.mktemp("town")
    make_session(town / "secret.sqlite", 300)
    rename(town / "secret.sqlite", SECRET)
    for folder in (town / "secret", town / "shop" / "van"):
        folder.parent.mkdir(exist_ok=True)
        job = create_job(folder, complaint=SECRET if folder.name == "secret" else "dies", vehicle="", meters=(),
                         tool="meter", details={})  # fmt: skip
        begin_with(job, "pump-feed")
    (town / "secret.toml").write_text(f'name = "{SECRET}"\n')
    (town / "shop2").mkdir()
    make_session(town / "shop2" / "own.sqlite", 300)
    rename(town / "shop2" / "own.sqlite", SECRET)
    make_session(town / "shop" / "own.sqlite", 300)
    if os.name != "nt":  # links need a privilege there
        for name in ("secret.sqlite", "secret", "secret.toml"):
            (town / "shop" / f"link-{name}").symlink_to(town / name)
            (town / "shop" / "van" / f"link-{name}").symlink_to(town / name)
        (town / "shop" / "linked").symlink_to(town / "shop2")
    return town


def rename(session: Path, label: str) -> None:
    import sqlite3
    from contextlib import closing

    with closing(sqlite3.connect(session)) as file:
        file.execute("UPDATE channel SET label = ?", (label,))
        file.execute("UPDATE detail SET value = ? WHERE key = 'vehicle'", (label,))
        file.commit()


@pytest.fixture(scope="module")
def server(town: Path) -> flask.Flask:
    built: flask.Flask = build(town / "shop", Access(LOOPBACK, 80, lan=None, announce=lambda _: None)).server
    built.config["PROPAGATE_EXCEPTIONS"] = True  # a traceback is a failure
    return built


@pytest.fixture
def client(server: flask.Flask) -> FlaskClient:
    return server.test_client()


def names(town: Path) -> list[str]:
    """Every way in which a name may mean a file outside of the folder."""
    found = [way.format(there) for there in THERE for way in ROUND]
    found += [str(town / there) for there in THERE] + [f"/{town / there}" for there in THERE]
    found += [f"link-{there}" for there in THERE[:3]] + [f"van/link-{there}" for there in THERE[:3]]
    return [*found, "linked/own.sqlite", "linked", "file:///etc/passwd", "/etc/passwd", "~/secret.sqlite"]


def ways(name: str) -> set[str]:
    """A name as it is, with its odd characters written as numbers once, and twice."""
    once = quote(name, safe="")
    dots = once.replace(".", "%2e")
    return {quote(name), dots, quote(once, safe="")}


def view_of(client: FlaskClient, pathname: str, search: str = "") -> TestResponse:
    """Ask for a view as the page does."""
    return client.post(
        "/_dash-update-component",
        base_url=BASE,
        json={
            "output": "view.children",
            "outputs": {"id": "view", "property": "children"},
            "inputs": [
                {"id": "address", "property": "pathname", "value": pathname},
                {"id": "address", "property": "search", "value": search},
            ],
            "changedPropIds": ["address.pathname"],
        },
    )


def check(answer: TestResponse, town: Path, asked: str) -> None:
    """The answer tells neither what lies outside of the folder nor where the folder lies."""
    told = answer.get_data()
    assert SECRET.encode() not in told, asked
    assert not re.search(rb"root:.*:0:0:", told), asked
    for place in (str(town), tempfile.gettempdir() + "/meterlog-"):
        assert place not in told.decode("utf-8", "replace").replace(asked.lstrip("/"), ""), asked
    answer.close()


def test_no_address_reaches_outside_of_the_folder(client: FlaskClient, town: Path) -> None:
    for name in names(town):
        for way in ways(name):
            for address in ADDRESSES:
                check(client.get(address.format(way), base_url=BASE), town, name)


def test_no_view_reaches_outside_of_the_folder(client: FlaskClient, town: Path) -> None:
    for name in names(town):
        for way in (name, quote(name, safe="")):
            for pathname in ("/sessions/{}", "/record/{}", "/jobs/{}"):
                check(view_of(client, pathname.format(way)), town, name)
            for search in ("/compare?good={}", "/compare?suspect={}", "/circuit?circuit={}", "/circuit?session={}"):
                pathname, _, query = search.format(way).partition("?")
                check(view_of(client, pathname, f"?{query}"), town, name)


def test_nothing_outside_of_the_folder_is_changed(client: FlaskClient, town: Path) -> None:
    def state() -> dict[str, bytes]:
        found = {path: path.read_bytes() for path in town.rglob("*") if path.is_file()}
        return {str(path): text for path, text in found.items() if "-wal" not in path.name and "-shm" not in path.name}

    before = state()
    for name in names(town):
        for way in ways(name):
            for address in POSTS:
                body: Any = {"name": f"../{SECRET}", "text": SECRET, "version": "", "cautions": []}
                answer = client.post(address.format(way), base_url=BASE, json=body)
                assert answer.status_code >= 300, (address, way)  # 308: without the second slash
                check(answer, town, name)
    for typed in ("../out", "/out", "..", ".out", "a/b", "a\\b", "a\0b", ""):
        for address in ("/session/own.sqlite/rename", "/job/van/rename"):
            answer = client.post(address, base_url=BASE, json={"name": typed})
            assert answer.status_code == 400, (address, typed)
    assert state() == before


@pytest.mark.usefixtures("town")
def test_whether_a_file_outside_exists_is_not_told(client: FlaskClient) -> None:
    for there, absent in (("secret.sqlite", "absent.sqlite"), ("secret", "absent")):
        for address in (*ADDRESSES, *POSTS):
            told = []
            for name in (f"../{there}", f"../{absent}"):
                ask = client.post if address in POSTS else client.get
                answer = ask(address.format(quote(name, safe="")), base_url=BASE, json={})
                text = answer.get_data().replace(name.encode(), b"NAME")
                told.append((answer.status_code, b"frame" if FRAME in text else text))
                answer.close()
            assert told[0] == told[1], address


def test_a_photo_that_is_none_is_refused_without_saying_where_it_was_looked_at(client: FlaskClient, town: Path) -> None:
    sent = {"photo": (io.BytesIO(b"MZ not a photo"), "../../../evil.exe"), "caption": "../../evil/../x\0"}
    answer = client.post("/job/van/photo", base_url=BASE, data=sent)
    assert answer.status_code == 400
    check(answer, town, "")
    assert "is no photo" in answer.get_json()["error"]
    assert not [*town.rglob("*evil*")]


@pytest.mark.skipif(os.name == "nt", reason="such names cannot be there")
def test_odd_names_of_files_become_no_header_and_no_markup(client: FlaskClient, town: Path) -> None:
    names = (
        'a"; x="y.sqlite',
        "a\r\nSet-Cookie: x=y.sqlite",
        "<script>x.sqlite",
        "é;ü.sqlite",
        "a%2e.sqlite",
        "#?&.sqlite",
    )
    for name in names:
        (town / "shop" / name).write_bytes((town / "shop" / "own.sqlite").read_bytes())
    for name in names:
        for suffix in ("csv", "html"):
            answer = client.get(f"/files/{quote(name, safe='')}/{suffix}", base_url=BASE)
            assert answer.status_code == (404 if "\n" in name else 200), name
            if answer.status_code == 404:
                continue
            assert "Set-Cookie" not in answer.headers
            assert answer.headers["Content-Disposition"].startswith("attachment; filename")
            assert b"<script>x" not in answer.get_data()
            answer.close()
        (town / "shop" / name).unlink()


FOREIGN = (
    {"Origin": "http://evil.example"},
    {"Origin": "null"},
    {"Sec-Fetch-Site": "cross-site", "Sec-Fetch-Mode": "no-cors"},
    {"Sec-Fetch-Site": "same-site", "Sec-Fetch-Mode": "cors"},
)


@pytest.mark.parametrize("headers", FOREIGN, ids=str)
def test_another_site_can_change_nothing_at_any_address(
    server: flask.Flask, client: FlaskClient, headers: dict[str, str]
) -> None:
    changing = [rule for rule in server.url_map.iter_rules() if (rule.methods or set()) - {"GET", "HEAD", "OPTIONS"}]
    assert len(changing) >= 12
    for rule in changing:
        address = re.sub(r"<[^>]+>", "own.sqlite", rule.rule)
        assert client.post(address, base_url=BASE, headers=headers, json={}).status_code == 403, address


@pytest.mark.parametrize("headers", FOREIGN, ids=str)
@pytest.mark.parametrize("path", ["/programs/v1/sessions/own.sqlite", "/files/own.sqlite/csv", "/live/own.sqlite"])
def test_another_site_cannot_make_the_server_work_by_what_it_loads_from_here(
    client: FlaskClient, headers: dict[str, str], path: str
) -> None:
    assert client.get(path, base_url=BASE, headers=headers).status_code == 403


def test_a_link_from_another_site_opens_the_page_and_a_program_needs_no_browser(client: FlaskClient) -> None:
    followed = {"Sec-Fetch-Site": "cross-site", "Sec-Fetch-Mode": "navigate"}
    assert client.get("/sessions", base_url=BASE, headers=followed).status_code == 200
    assert client.post("/live/own.sqlite/marker", base_url=BASE, headers=followed, json={}).status_code == 403
    for headers in ({}, {"Sec-Fetch-Site": "same-origin", "Sec-Fetch-Mode": "cors"}, {"Sec-Fetch-Site": "none"}):
        assert client.get("/live/own.sqlite", base_url=BASE, headers=headers).status_code == 200


ODD_BODIES = (
    b"", b"{", b"[]", b"5", b"null", b'"x"', b"{}", b"[" * 100_000, b'{"a":' * 100_000, b"1" * 100_000, b"\xff\xfe\x00",
    b'{"output": 5, "outputs": [], "inputs": {}, "changedPropIds": 1}', b'{"output": "view.children"}',
    b'{"name": "\\ud800", "version": "\\ud800", "text": "\\ud800"}',
)  # fmt: skip


def test_no_body_brings_a_traceback(
    server: flask.Flask, client: FlaskClient, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setitem(server.config, "PROPAGATE_EXCEPTIONS", False)
    changing = [rule for rule in server.url_map.iter_rules() if (rule.methods or set()) - {"GET", "HEAD", "OPTIONS"}]
    for rule in changing:
        address = re.sub(r"<[^>]+>", "van" if rule.rule.startswith("/job") else "own.sqlite", rule.rule)
        if address.endswith(("/remove", "/stop")):
            continue  # what they are told does not matter
        for body in ODD_BODIES:
            for kind in ("application/json", "text/plain", "multipart/form-data; boundary=x"):
                answer = client.post(address, base_url=BASE, data=body, headers={"Content-Type": kind})
                # The library that takes these questions knows no shape but its own.
                assert answer.status_code < 500 or "_dash" in address, (address, body[:20], kind)
                answer.close()
    assert "Traceback" not in capsys.readouterr().err
