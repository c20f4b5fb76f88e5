"""Only those who should reach the page do: this computer, and devices paired with the code."""

from __future__ import annotations

import re
from pathlib import Path

import flask
import pytest
from flask.testing import FlaskClient

from meterlog.cli import main
from meterlog.errors import UsageError
from meterlog_dashboard.frame.app import build
from meterlog_dashboard.gate.access import COOKIE, LOOPBACK, TRIES, TRIES_WINDOW_S, Access, Lan
from meterlog_dashboard.gate.devices import Devices

PHONE = {"REMOTE_ADDR": "192.0.2.7"}
LAN = "https://192.0.2.1:8050"


class Gate:
    """A server behind the gate, asked without a network."""

    def __init__(self, devices: Devices | None) -> None:
        self.codes: list[str] = []
        lan = Lan(devices, LAN, "AA:BB") if devices else None
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
def devices(tmp_path: Path) -> Devices:
    return Devices(tmp_path / "data")


@pytest.fixture
def lan(devices: Devices) -> Gate:
    return Gate(devices)


@pytest.fixture
def alone() -> Gate:
    return Gate(None)


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
    for path in ("/_dash-layout", "/view-files/0/all.js", "/live/a.sqlite", "/pairs"):
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
    assert {"HttpOnly", "SameSite=Strict", "Path=/", "Secure"} <= {part.strip() for part in cookie.split(";")}


def test_a_made_up_cookie_opens_nothing(lan: Gate) -> None:
    phone = lan.client()
    phone.set_cookie(COOKIE, "guess", domain="192.0.2.1")
    assert phone.get("/_dash-layout", base_url=LAN, environ_base=PHONE).status_code == 403


def test_pairing_survives_a_restart_of_the_page_and_ends_when_the_device_is_removed(
    lan: Gate, devices: Devices
) -> None:
    phone, _ = pair(lan, lan.codes[0])
    cookie = phone.get_cookie(COOKIE, domain="192.0.2.1")
    assert cookie is not None
    again = Gate(Devices(devices.folder)).client()
    again.set_cookie(COOKIE, cookie.value, domain="192.0.2.1")
    assert again.get("/", base_url=LAN, environ_base=PHONE).status_code == 200
    Devices(devices.folder).remove("device")
    for one in (again, phone):
        assert one.get("/_dash-layout", base_url=LAN, environ_base=PHONE).status_code == 403


def test_devices_have_names_of_their_own_and_their_file_lets_nobody_in(devices: Devices) -> None:
    tokens = [devices.pair(name) for name in ("phone", "phone", " tablet\n", "")]
    assert [one.name for one in devices.all()] == ["phone", "phone 2", "tablet", "device"]
    (file,) = devices.folder.glob("*.json")
    assert not any(token in file.read_text() for token in tokens)
    assert all(map(devices.knows, tokens))
    assert not devices.knows(devices.all()[0].token_sha256)
    with pytest.raises(UsageError, match="did you mean 'tablet'"):
        devices.remove("tablt")


def test_a_damaged_list_of_devices_lets_nobody_in_and_says_so_without_a_path(
    lan: Gate, devices: Devices, capsys: pytest.CaptureFixture[str]
) -> None:
    phone, _ = pair(lan, lan.codes[0])
    (file,) = devices.folder.glob("*.json")
    file.write_text("[{]")
    answer = phone.get("/", base_url=LAN, environ_base=PHONE)
    assert answer.status_code == 503
    assert str(devices.folder).encode() not in answer.data
    assert str(file) in capsys.readouterr().err
    assert lan.client().get("/", base_url="http://127.0.0.1:8050").status_code == 200


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
    server = build(tmp_path, Access(LOOPBACK, 8050, None, print)).server
    answer = server.test_client().get("/", base_url="http://127.0.0.1:8050")
    policy = answer.headers["Content-Security-Policy"]
    assert "default-src 'self'" in policy
    assert "unsafe-eval" not in policy
    assert "'unsafe-inline'" not in policy.partition("script-src")[2].partition(";")[0]
    assert "frame-ancestors 'none'" in policy
    assert answer.headers["X-Content-Type-Options"] == "nosniff"
    assert b"http://" not in answer.data.replace(b"http://127.0.0.1:8050", b"")
    assert b"https://" not in answer.data


def shown(server: flask.Flask, address: str) -> str:
    """Return what the view of devices tells who asks from an address."""
    asked = {
        "output": "view.children",
        "outputs": {"id": "view", "property": "children"},
        "inputs": [
            {"id": "address", "property": "pathname", "value": "/devices"},
            {"id": "address", "property": "search", "value": ""},
        ],
        "changedPropIds": ["address.pathname"],
    }
    base = "http://127.0.0.1:8050"
    answer = server.test_client().post(
        "/_dash-update-component", json=asked, base_url=base, environ_base={"REMOTE_ADDR": address}
    )
    return answer.get_data(as_text=True)


def test_devices_are_listed_on_the_computer_itself_only(
    tmp_path: Path, devices: Devices, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("METERLOG_DATA", str(devices.folder))
    devices.pair("red phone")
    access = Access(LOOPBACK, 8050, Lan(devices, LAN, "AA:BB:CC"), lambda _: None)
    told = shown(build(tmp_path, access).server, "127.0.0.1")
    assert "red phone" in told
    assert "AA:BB:CC" in told
    assert f"{access.code[:4]} {access.code[4:]}" in told
    devices.remove("red phone")
    assert "None yet" in shown(build(tmp_path, access).server, "127.0.0.1")
    alone = shown(build(tmp_path, Access(LOOPBACK, 8050, None, print)).server, "192.0.2.7")
    assert "on the computer itself" in alone


def test_the_command_lists_and_removes_devices(
    devices: Devices, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("METERLOG_DATA", str(devices.folder))
    devices.pair("red phone")
    assert main(["page", "--devices"]) == 0
    assert "red phone: paired on" in capsys.readouterr().out
    assert main(["page", "--unpair", "red phone"]) == 0
    assert "No device is paired" in capsys.readouterr().out
    assert main(["page", "--unpair", "red phone"]) == 2
