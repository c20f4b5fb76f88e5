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
    assert len(named) >= 10
    sent = len(page.data) + sum(len(client.get(one, headers=BROWSER).data) for one in named)
    assert sent <= 6 * 50_000


@pytest.mark.parametrize("path", ["/_dash-dependencies", f"{PREFIX}/live/live.js", f"{PREFIX}/all.css"])
def test_compressed_and_plain_say_the_same(client: FlaskClient, path: str) -> None:
    packed, plain = client.get(path, headers=BROWSER), client.get(path)
    assert packed.headers["Content-Encoding"] == "br"
    assert "Content-Encoding" not in plain.headers
    assert "Accept-Encoding" in packed.headers["Vary"]
    assert "Accept-Encoding" in plain.headers["Vary"]
    assert brotli.decompress(packed.data) == plain.data
    assert len(packed.data) < 0.5 * len(plain.data)


def test_files_are_kept_by_the_browser_until_they_are_others(client: FlaskClient) -> None:
    assert "immutable" in client.get(f"{PREFIX}/live/live.js").headers["Cache-Control"]
    other = re.sub(r"[0-9a-f]{12}", "0" * 12, PREFIX)
    assert other != PREFIX
    assert (
        client.get(f"{other}/live/live.js").headers.get("Cache-Control", "")
        != client.get(f"{PREFIX}/live/live.js").headers["Cache-Control"]
    )


@pytest.mark.parametrize(
    "name", ["../serve.py", "serve.py", "frame/app.py", "live/../../serve.py", "%2e%2e/serve.py", ""]
)
def test_nothing_but_scripts_and_styles_is_served(client: FlaskClient, name: str) -> None:
    assert b"from __future__" not in client.get(f"{PREFIX}/{name}").data
