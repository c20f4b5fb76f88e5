"""Checks that what the page sends is small and kept by browsers, and comes whole to whoever wants it plain."""

from __future__ import annotations

import re
from pathlib import Path

import brotli
import pytest
from flask.testing import FlaskClient

from meterlog_dashboard.frame.app import build
from meterlog_dashboard.frame.assets import PREFIX
from meterlog_dashboard.gate.access import LOOPBACK, Access

BROWSER = {"Accept-Encoding": "gzip, deflate, br, zstd"}


@pytest.fixture
def client(tmp_path: Path) -> FlaskClient:
    made: FlaskClient = build(tmp_path, Access(LOOPBACK, 80, lan=None, announce=lambda _: None)).server.test_client()
    return made


def test_all_that_the_first_view_needs_goes_through_a_weak_line_in_six_seconds(client: FlaskClient) -> None:
    page = client.get("/", headers=BROWSER)
    named = re.findall(r'(?:src|href)="(/[^"]+)"', brotli.decompress(page.data).decode())
    assert len(named) == 5  # fewer than a browser asks for at a time: the line's delay is paid twice
    sent = len(page.data) + sum(len(client.get(one, headers=BROWSER).data) for one in named)
    assert sent <= (6 - 2 * 0.4 - 0.5) * 50_000  # half a second is the browser's


def test_the_layout_holds_the_view_of_the_page_that_asks(client: FlaskClient) -> None:
    for path, words in (("/", "New job"), ("/sessions?x=1", "No sessions in this folder yet"), ("/nowhere", "nothing")):
        layout = client.get("/_dash-layout", headers={"Referer": f"http://localhost{path}"}).get_json()
        _, address, _, main, _ = layout["props"]["children"]
        assert words in str(main), path
        assert address["props"]["pathname"] + address["props"]["search"] == path
    *_, main, _ = client.get("/_dash-layout").get_json()["props"]["children"]
    assert "New job" not in str(main)  # who does not say where it is asks again


def test_a_view_that_fails_is_asked_for_again_by_the_page_which_has_words_for_it(
    client: FlaskClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("meterlog_dashboard.sessions.view.layout", lambda *_: 1 / 0)
    answer = client.get("/_dash-layout", headers={"Referer": "http://localhost/sessions"})
    assert answer.status_code == 200
    assert answer.get_json()["props"]["children"][3]["props"]["children"] is None


def test_the_page_needs_no_part_of_its_library_that_is_left_out(client: FlaskClient) -> None:
    page = client.get("/").get_data(as_text=True)
    (address,) = re.findall(r'src="(/_dash-component-suites/[^"]+)"', page)
    joined = client.get(address).get_data(as_text=True)
    assert "regeneratorRuntime = runtime" in joined
    for part in ("react", "react-dom", "prop-types", "DashRenderer", "dash_core_components", "dash_html_components"):
        assert part in joined


@pytest.mark.parametrize("path", ["/_dash-dependencies", f"{PREFIX}/all.js", f"{PREFIX}/all.css"])
def test_compressed_and_plain_say_the_same(client: FlaskClient, path: str) -> None:
    packed, plain = client.get(path, headers=BROWSER), client.get(path)
    assert packed.headers["Content-Encoding"] == "br"
    assert "Content-Encoding" not in plain.headers
    assert "Accept-Encoding" in packed.headers["Vary"]
    assert "Accept-Encoding" in plain.headers["Vary"]
    assert brotli.decompress(packed.data) == plain.data
    assert len(packed.data) < 0.5 * len(plain.data)


def test_files_are_kept_by_the_browser_until_they_are_others(client: FlaskClient) -> None:
    assert "immutable" in client.get(f"{PREFIX}/all.js").headers["Cache-Control"]
    other = re.sub(r"[0-9a-f]{12}", "0" * 12, PREFIX)
    assert other != PREFIX
    assert (
        client.get(f"{other}/all.js").headers.get("Cache-Control", "")
        != client.get(f"{PREFIX}/all.js").headers["Cache-Control"]
    )


@pytest.mark.parametrize(
    "name", ["../serve.py", "serve.py", "frame/app.py", "live/../../serve.py", "%2e%2e/serve.py", ""]
)
def test_nothing_but_scripts_and_styles_is_served(client: FlaskClient, name: str) -> None:
    assert b"from __future__" not in client.get(f"{PREFIX}/{name}").data
