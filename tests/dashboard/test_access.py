"""Only those who should reach the page do: this computer, and devices paired with the code."""

from __future__ import annotations

import re
from pathlib import Path

import flask
import pytest
from flask.testing import FlaskClient

from meterlog_dashboard.frame.app import build
from meterlog_dashboard.gate.access import COOKIE, LOOPBACK, TRIES, TRIES_WINDOW_S, Access

PHONE = {"REMOTE_ADDR": "192.0.2.7"}
LAN = "http://192.0.2.1:8050"


class Gate:
    """A server behind the gate, asked without a network."""

    def __init__(self, lan: bool) -> None:
        self.codes: list[str] = []
        hosts = [*LOOPBACK, *(["192.0.2.1"] if lan else [])]
        self.server = flask.Flask("gate")
        self.server.config["CONTENT_SECURITY_POLICY"] = ""
        self.server.add_url_rule("/<path:path>", "any", lambda path: path, methods=["GET", "POST"])
        self.server.add_url_rule("/", "start", lambda: "start")
        Access(hosts, 8050, lan, self.codes.append).guard(self.server)

    def client(self) -> FlaskClient:
        client: FlaskClient = self.server.test_client()
        return client


@pytest.fixture
def lan() -> Gate:
    return Gate(lan=True)


@pytest.fixture
def alone() -> Gate:
    return Gate(lan=False)


def pair(gate: Gate, code: str, address: str = PHONE["REMOTE_ADDR"]) -> tuple[FlaskClient, int]:
    phone = gate.client()
    there = {"REMOTE_ADDR": address}
    answer = phone.post("/pair", data={"code": code}, base_url=LAN, environ_base=there, headers={"Origin": LAN})
    return phone, answer.status_code


@pytest.mark.parametrize(
    "host", ["http://evil.example:8050", "http://127.0.0.1.evil.example:8050", LAN, "http://127.0.0.1"]
)
def test_another_name_for_this_computer_is_refused(alone: Gate, host: str) -> None:
    assert alone.client().get("/", base_url=host).status_code == 421


@pytest.mark.parametrize("host", ["http://127.0.0.1:8050", "http://localhost:8050", "http://[::1]:8050"])
def test_this_computer_needs_no_code(alone: Gate, host: str) -> None:
    assert alone.client().get("/", base_url=host).status_code == 200
    assert alone.codes == []


@pytest.mark.parametrize("origin", ["http://evil.example", "null", "http://127.0.0.1:8051", "https://127.0.0.1:8050"])
@pytest.mark.parametrize("path", ["/live/a.sqlite/stop", "/live/a.sqlite/marker", "/_dash-update-component"])
def test_another_site_cannot_act_through_the_browser(alone: Gate, origin: str, path: str) -> None:
    answer = alone.client().post(path, base_url="http://127.0.0.1:8050", headers={"Origin": origin}, json={})
    assert answer.status_code == 403


def test_a_phone_without_the_code_gets_the_code_page_and_nothing_else(lan: Gate) -> None:
    phone = lan.client()
    answer = phone.get("/", base_url=LAN, environ_base=PHONE, headers={"Accept": "text/html"})
    assert (answer.status_code, answer.headers["Location"]) == (303, "/pair")
    for path in ("/_dash-layout", "/view-files/live/live.js", "/live/a.sqlite", "/pairs"):
        assert phone.get(path, base_url=LAN, environ_base=PHONE).status_code == 403
    assert phone.post("/live/a.sqlite/stop", base_url=LAN, environ_base=PHONE).status_code == 403
    assert b"Pair this device" in phone.get("/pair", base_url=LAN, environ_base=PHONE).data


def test_the_code_pairs_one_device_and_is_spent(lan: Gate) -> None:
    (code,) = lan.codes
    assert re.fullmatch(r"\d{8}", code)
    phone, status = pair(lan, f"{code[:4]} {code[4:]}")
    assert status == 303
    assert phone.get("/", base_url=LAN, environ_base=PHONE).status_code == 200
    assert len(lan.codes) == 2
    other, status = pair(lan, code)
    assert status == (303 if lan.codes[1] == code else 403)
    assert other.get("/_dash-layout", base_url=LAN, environ_base=PHONE).status_code == 403


def test_the_cookie_is_out_of_reach_of_scripts_and_other_sites(lan: Gate) -> None:
    answer = lan.client().post("/pair", data={"code": lan.codes[0]}, base_url=LAN, environ_base=PHONE)
    (cookie,) = answer.headers.getlist("Set-Cookie")
    assert cookie.startswith(f"{COOKIE}=")
    assert {"HttpOnly", "SameSite=Strict", "Path=/"} <= {part.strip() for part in cookie.split(";")}


def test_a_made_up_cookie_opens_nothing(lan: Gate) -> None:
    phone = lan.client()
    phone.set_cookie(COOKIE, "guess", domain="192.0.2.1")
    assert phone.get("/_dash-layout", base_url=LAN, environ_base=PHONE).status_code == 403


def test_guessing_is_slowed_down_for_each_address_and_locks_nobody_else_out(
    lan: Gate, monkeypatch: pytest.MonkeyPatch
) -> None:
    now = [1000.0]
    monkeypatch.setattr("meterlog_dashboard.gate.access.time.monotonic", lambda: now[0])
    wrong = f"{(int(lan.codes[0]) + 1) % 10**8:08d}"
    assert [pair(lan, wrong)[1] for _ in range(TRIES + 1)] == [403] * TRIES + [429]
    assert pair(lan, lan.codes[0])[1] == 429
    assert pair(lan, lan.codes[0], "192.0.2.8")[1] == 303
    now[0] += TRIES_WINDOW_S + 1
    assert pair(lan, lan.codes[1])[1] == 303


def test_a_crowd_of_guessers_stays_slow_and_is_forgotten(lan: Gate, monkeypatch: pytest.MonkeyPatch) -> None:
    now = [1000.0]
    monkeypatch.setattr("meterlog_dashboard.gate.access.time.monotonic", lambda: now[0])
    monkeypatch.setattr("meterlog_dashboard.gate.access.MOST_TRYING", 3)
    wrong = f"{(int(lan.codes[0]) + 1) % 10**8:08d}"
    assert [pair(lan, wrong, f"192.0.2.{k}")[1] for k in range(7, 12)] == [403] * 3 + [429] * 2
    now[0] += TRIES_WINDOW_S + 1
    assert pair(lan, lan.codes[0], "192.0.2.11")[1] == 303


def test_what_was_typed_never_becomes_markup(lan: Gate) -> None:
    page = lan.client().get('/pair?code="><script>1</script>', base_url=LAN, environ_base=PHONE).data
    assert b"<script>" not in page


def test_the_browser_is_told_to_load_nothing_from_elsewhere(tmp_path: Path) -> None:
    server = build(tmp_path, Access(LOOPBACK, 8050, False, print)).server
    answer = server.test_client().get("/", base_url="http://127.0.0.1:8050")
    policy = answer.headers["Content-Security-Policy"]
    assert "default-src 'self'" in policy
    assert "unsafe-eval" not in policy
    assert "'unsafe-inline'" not in policy.partition("script-src")[2].partition(";")[0]
    assert "frame-ancestors 'none'" in policy
    assert answer.headers["X-Content-Type-Options"] == "nosniff"
    assert b"http://" not in answer.data.replace(b"http://127.0.0.1:8050", b"")
    assert b"https://" not in answer.data
