"""Connections that strangers hold open keep neither this computer nor a paired device out."""

from __future__ import annotations

import contextlib
import http.client
import socket
import ssl
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path

import flask
import pytest
from waitress.server import create_server

from meterlog_dashboard.gate import lan_server
from meterlog_dashboard.gate.access import LOOPBACK, TRIES, Access, Lan
from meterlog_dashboard.gate.certificate import Certificate, own_certificate
from meterlog_dashboard.gate.devices import Devices
from meterlog_dashboard.gate.lan_server import STRANGERS_CONNECTIONS, UNPAIRED_CONNECTIONS, serve_lan, surplus

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="only there all of 127.0.0.0/8 is this computer")

OWN, STRANGER, PHONE, NEWCOMER = "127.0.0.3", "127.0.0.2", "127.0.0.4", "127.0.0.5"
LONG = "0123456789" * 300_000
PATIENCE_S = 20.0
"""An answer that comes at all comes in milliseconds; a loaded machine gets this long."""


@dataclass
class Page:
    """A page for this computer and the network, with the code that pairs a device."""

    port: int
    codes: list[str]
    trusting: ssl.SSLContext

    def connection(self, host: str, source: str) -> http.client.HTTPConnection:
        if host != OWN:
            return http.client.HTTPConnection(host, self.port, PATIENCE_S, (source, 0))
        return http.client.HTTPSConnection(
            host, self.port, timeout=PATIENCE_S, source_address=(source, 0), context=self.trusting
        )

    def ask(self, host: str, source: str, path: str = "/", cookie: str = "") -> int:
        connection = self.connection(host, source)
        try:
            connection.request("GET", path, headers={"Cookie": cookie} if cookie else {})
            return connection.getresponse().status
        finally:
            connection.close()

    def pair(self, source: str) -> str:
        """Type the code; the cookie."""
        connection = self.connection(OWN, source)
        try:
            form = {"Content-Type": "application/x-www-form-urlencoded", "Origin": f"https://{OWN}:{self.port}"}
            connection.request("POST", "/pair", f"code={self.codes[-1]}", form)
            answer = connection.getresponse()
            assert answer.status == 303
            return (answer.getheader("Set-Cookie") or "").partition(";")[0]
        finally:
            connection.close()

    def hold(self, source: str, begin: bytes = b"") -> socket.socket:
        """A connection that stays open: encrypted, with the beginning of a question; or silent from the start."""
        held = socket.create_connection((OWN, self.port), PATIENCE_S, (source, 0))
        if begin:
            held = self.trusting.wrap_socket(held, server_hostname=OWN)
            held.sendall(begin)
        return held


@pytest.fixture(scope="module")
def certificate(tmp_path_factory: pytest.TempPathFactory) -> Certificate:
    return own_certificate(tmp_path_factory.mktemp("data"), OWN)


@pytest.fixture
def page(certificate: Certificate, tmp_path: Path) -> Iterator[Page]:
    listening = socket.socket()
    listening.bind(("127.0.0.1", 0))
    port = int(listening.getsockname()[1])
    codes: list[str] = []
    lan = Lan(Devices(tmp_path), f"https://{OWN}:{port}", certificate.fingerprint)
    access = Access([*LOOPBACK, OWN], port, lan, codes.append)
    served = flask.Flask("page")
    served.config["CONTENT_SECURITY_POLICY"] = ""
    served.add_url_rule("/", "start", lambda: "start")
    served.add_url_rule("/long", "long", lambda: LONG)
    access.guard(served)
    server = create_server(served, sockets=[listening], threads=2)
    threading.Thread(target=server.run, daemon=True).start()
    serve_lan(served, OWN, port, certificate.context(), access.paired)
    yield Page(port, codes, ssl.create_default_context(cafile=str(certificate.certificate)))
    server.task_dispatcher.shutdown()


def closed(held: socket.socket) -> bool:
    """Tell whether the other side has closed it, looking a moment."""
    held.settimeout(0.01)
    try:
        return held.recv(1) == b""
    except TimeoutError:
        return False
    except OSError:
        return True


def wait_for(condition: Callable[[], bool]) -> None:
    until_s = time.monotonic() + PATIENCE_S
    while not condition():
        assert time.monotonic() < until_s, "it never came"
        time.sleep(0.02)


def test_idle_and_slow_connections_of_a_stranger_keep_nobody_out(page: Page) -> None:
    cookie = page.pair(PHONE)
    with ExitStack() as stack:
        for _ in range(99):
            stack.enter_context(page.hold(STRANGER))
            with contextlib.suppress(OSError):  # ended while its handshake goes on
                stack.enter_context(page.hold(STRANGER, b"GET / HTTP/1.1\r\nHost: "))
        assert page.ask("127.0.0.1", "127.0.0.1") == 200
        assert page.ask(OWN, PHONE, cookie=cookie) == 200
        assert page.ask(OWN, NEWCOMER, "/pair") == 200
        assert page.ask(OWN, STRANGER) == 403
        assert page.pair(NEWCOMER).startswith("meterlog-paired=")


def test_a_stranger_holds_a_few_connections_only(page: Page) -> None:
    with ExitStack() as stack:
        held = [stack.enter_context(page.hold(STRANGER)) for _ in range(30)]
        wait_for(lambda: sum(not closed(one) for one in held) == UNPAIRED_CONNECTIONS)
        assert not closed(held[-1])


def test_a_crowd_of_strangers_makes_room_for_a_newcomer_and_leaves_paired_devices_alone(page: Page) -> None:
    cookie = page.pair(PHONE)
    with ExitStack() as stack:
        phone = [stack.enter_context(page.hold(PHONE)) for _ in range(6)]
        crowd = [stack.enter_context(page.hold(f"127.0.1.{k}")) for k in range(1, 30) for _ in range(3)]
        wait_for(lambda: sum(not closed(one) for one in crowd) <= STRANGERS_CONNECTIONS)
        assert page.ask(OWN, NEWCOMER, "/pair") == 200
        assert page.ask(OWN, PHONE, cookie=cookie) == 200
        assert not any(closed(one) for one in phone)


def test_what_is_not_paired_has_its_time_and_what_is_paired_is_left_open(
    page: Page, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(lan_server, "UNPAIRED_S", 0.1)
    page.pair(PHONE)
    with page.hold(PHONE) as phone, page.hold(STRANGER, b"GET / HTTP/1.1\r\n") as slow:
        wait_for(lambda: closed(slow))
        assert not closed(phone)


def test_a_stranger_who_asks_and_takes_no_answer_is_ended_too(page: Page, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(lan_server, "UNPAIRED_S", 0.1)
    with page.hold(STRANGER, b"GET") as greedy:
        greedy.setblocking(False)
        with contextlib.suppress(OSError):
            for _ in range(100_000):  # until nothing more fits in: its own buffers are full, and the page's
                greedy.send(f" /pair HTTP/1.1\r\nHost: {OWN}:{page.port}\r\n\r\nGET".encode() * 100)
        wait_for(lambda: greedy_is_over(greedy))


def test_a_paired_device_that_takes_nothing_of_its_answer_is_ended(page: Page, monkeypatch: pytest.MonkeyPatch) -> None:
    cookie = page.pair(PHONE)
    monkeypatch.setattr(lan_server, "PAIRED_IDLE_S", 0.1)
    asked = f"GET /long HTTP/1.1\r\nHost: {OWN}:{page.port}\r\nCookie: {cookie}\r\n\r\n" * 9
    with page.hold(PHONE, asked.encode()) as held:
        wait_for(lambda: greedy_is_over(held))


def greedy_is_over(greedy: socket.socket) -> bool:
    """Tell whether sending fails because the other side has ended it."""
    try:
        greedy.send(b"G")
    except (BlockingIOError, ssl.SSLWantWriteError):
        return False
    except OSError:
        return True
    return False


def test_a_plain_question_is_sent_to_the_encrypted_address_and_gets_nothing_else(page: Page) -> None:
    with socket.create_connection((OWN, page.port), PATIENCE_S, (STRANGER, 0)) as plain:
        plain.sendall(f"GET /pair?code=1 HTTP/1.1\r\nHost: {OWN}\r\n\r\n".encode())
        answer = b"".join(iter(lambda: plain.recv(1000), b""))
    assert answer.startswith(b"HTTP/1.1 301 ")
    assert f"Location: https://{OWN}:{page.port}/\r\n".encode() in answer
    assert answer.endswith(b"\r\n\r\n")


def test_long_questions_and_answers_come_whole_through_the_encryption(page: Page) -> None:
    cookie = page.pair(PHONE)
    connection = page.connection(OWN, PHONE)
    for _ in range(3):  # one connection, as browsers use it
        connection.request("GET", "/long", headers={"Cookie": cookie, "X-Long": "x" * 40_000})
        assert connection.getresponse().read().decode() == LONG
    connection.close()


def test_what_is_not_tls_ends_its_own_connection_only(page: Page) -> None:
    for begin in (b"\x16\x03\x01\xff\xff" + bytes(70_000), b"\x16\x03\x01\x00\x05hello"):
        with socket.create_connection((OWN, page.port), PATIENCE_S, (STRANGER, 0)) as odd:
            with contextlib.suppress(OSError):
                odd.sendall(begin)
            wait_for(lambda odd=odd: closed(odd) or odd.fileno() < 0)  # type: ignore[misc]
    assert page.ask(OWN, NEWCOMER, "/pair") == 200


def test_a_stranger_cannot_fill_the_disk(page: Page) -> None:
    begin = f"POST /pair HTTP/1.1\r\nHost: {OWN}\r\nContent-Length: 900000000\r\n\r\n".encode()
    with page.hold(STRANGER, begin) as held:
        assert b"413" in held.recv(100)


def test_guesses_over_many_encrypted_connections_at_once_share_one_budget(page: Page) -> None:
    wrong = f"code={(int(page.codes[0]) + 1) % 10**8:08d}"
    found: list[int] = []

    def guess() -> None:
        for _ in range(TRIES):
            with contextlib.suppress(OSError, http.client.HTTPException):  # too many at once are ended
                connection = page.connection(OWN, STRANGER)
                form = {"Content-Type": "application/x-www-form-urlencoded"}
                connection.request("POST", "/pair", wrong, form)
                found.append(connection.getresponse().status)
                connection.close()

    guessing = [threading.Thread(target=guess) for _ in range(3)]
    for one in guessing:
        one.start()
    for one in guessing:
        one.join()
    assert found.count(403) <= TRIES
    assert {403} <= set(found) <= {403, 429}
    assert page.codes == page.codes[:1]  # none was spent, and the code holds for who was told it
    assert page.pair(NEWCOMER).startswith("meterlog-paired=")


@dataclass
class Channel:
    """A connection, as the server sees it."""

    addr: tuple[str, int]
    creation_time: float


def test_the_oldest_of_who_has_the_most_goes_first() -> None:
    crowd = [Channel(("a", 0), float(k)) for k in range(6)] + [Channel((f"b{k}", 0), 0.0) for k in range(23)]
    chosen = surplus(crowd, frozenset())
    assert [one.addr[0] for one in chosen] == ["a"] * 5
    assert sorted(one.creation_time for one in chosen) == [0, 1, 2, 3, 4]
    assert surplus(crowd[:6], frozenset({"a"})) == []
