"""A session is sent as a table while it is made: told how far it is, ended by a press, and never half for whole."""

from __future__ import annotations

import http.client
import io
import json
import socket
import sqlite3
import threading
from collections.abc import Iterator
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd
import pyarrow.parquet as pq
import pytest
from waitress.channel import ClientDisconnected
from waitress.server import create_server

from meterlog.errors import EmptySession, UsageError
from meterlog.session.writer import SessionWriter
from meterlog_dashboard.downloads.tables import AT_ONCE, Sending, Tables
from meterlog_dashboard.frame.app import build
from meterlog_dashboard.gate.access import LOOPBACK, Access
from tests.faults.conftest import make_session
from tests.waiting import until

if TYPE_CHECKING:
    from playwright.sync_api import Page, Route

READINGS = 20_000
ROOM_BYTES = 16_384
"""For what was sent and is not taken yet: little beside the table's 1 MB."""


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("shop")
    make_session(folder / "long.sqlite", READINGS)
    with SessionWriter.create(folder / "empty.sqlite"):
        pass
    return folder


@dataclass
class Shop:
    """The page on a port of its own, with little room for what nobody takes."""

    port: int
    opened: ExitStack

    def begin(self, address: str) -> http.client.HTTPResponse:
        connection = http.client.HTTPConnection("127.0.0.1", self.port, 20)
        self.opened.callback(connection.close)
        connection.connect()
        connection.sock.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, ROOM_BYTES)
        connection.request("GET", address)
        return self.opened.enter_context(connection.getresponse())

    def told(self, number: str, method: str = "GET") -> dict[str, Any]:
        connection = http.client.HTTPConnection("127.0.0.1", self.port, 20)
        connection.request(method, f"/files/going/{number}")
        told: dict[str, Any] = json.loads(connection.getresponse().read())
        connection.close()
        return told


@pytest.fixture
def shop(folder: Path) -> Iterator[Shop]:
    listening = socket.socket()
    listening.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, ROOM_BYTES)  # each connection's too
    listening.bind(("127.0.0.1", 0))
    port = int(listening.getsockname()[1])
    server = create_server(
        build(folder, Access(LOOPBACK, port, None, print)).server,
        sockets=[listening],
        outbuf_high_watermark=ROOM_BYTES,
    )
    threading.Thread(target=server.run, daemon=True).start()
    with ExitStack() as opened:
        yield Shop(port, opened)
    server.task_dispatcher.shutdown()


def test_a_table_comes_while_it_is_made_and_is_whole_at_its_end(shop: Shop) -> None:
    answer = shop.begin("/files/long.sqlite/csv?id=7")
    assert answer.getheader("Content-Disposition") == "attachment; filename=long.csv"
    begun = answer.read(1000)
    half_way = shop.told("7")
    assert half_way["state"] == "going"
    assert 0 < half_way["readings"] < READINGS == half_way["of"]
    table = pd.read_csv(io.BytesIO(begun + answer.read()))
    assert table["value"].count() == READINGS
    assert json.loads(table["session"].iloc[-1])["end"]["readings"] == READINGS
    until(lambda: shop.told("7")["state"] == "whole")


def test_a_press_ends_the_work_and_what_came_is_seen_to_be_half(shop: Shop) -> None:
    answer = shop.begin("/files/long.sqlite/csv?id=8")
    answer.read(1000)
    shop.told("8", "POST")
    with pytest.raises(http.client.IncompleteRead):
        answer.read()
    until(lambda: shop.told("8")["state"] == "ended")
    assert shop.told("8")["readings"] < READINGS


def test_closing_the_connection_ends_the_work(shop: Shop) -> None:
    answer = shop.begin("/files/long.sqlite/csv?id=9")
    answer.read(1000)
    answer.close()
    until(lambda: shop.told("9")["state"] == "ended")
    assert shop.told("9")["readings"] < READINGS


def test_a_parquet_file_comes_in_parts_too(shop: Shop) -> None:
    answer = shop.begin("/files/long.sqlite/parquet")
    assert pq.read_table(io.BytesIO(answer.read())).num_rows == READINGS


def test_what_cannot_be_a_table_is_one_sentence_to_the_browser_and_to_the_page(shop: Shop) -> None:
    for name, words in (("empty", "no readings"), ("gone", "there is no session 'gone.sqlite'")):
        answer = shop.begin(f"/files/{name}.sqlite/csv?id={name}")
        assert answer.status == 404
        assert words in answer.read().decode()
        assert shop.told(name)["state"] == "failed"
        assert words in shop.told(name)["said"]
    assert shop.told("never-begun")["state"] == "unknown"


def test_a_session_that_fails_half_way_is_said_in_a_sentence_and_breaks_off(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    make_session(tmp_path / "a.sqlite", 10_000)  # more than one chunk, and than one part
    sending = Sending(tmp_path / "a.sqlite", "csv", str)
    parts = iter(sending)
    next(parts)

    def breaks(*_: object, **__: object) -> None:
        raise sqlite3.DatabaseError("database disk image is malformed")

    monkeypatch.setattr("meterlog.session.reader.GuardedConnection.rows", breaks)
    with pytest.raises(ClientDisconnected):
        list(parts)
    sending.close()
    assert sending.state == "failed"
    assert "a.sqlite" in sending.said
    assert capsys.readouterr().err.count("\n") == 1


def test_a_few_tables_at_a_time_and_no_more(folder: Path) -> None:
    going = Tables(str)
    begun = [going.begin(lambda: folder / "long.sqlite", "csv", str(k)) for k in range(AT_ONCE)]
    with pytest.raises(UsageError, match="cancel one"):
        going.begin(lambda: folder / "long.sqlite", "csv", "late")
    assert "cancel one" in going.told("late")["said"]
    begun[0].close()
    with pytest.raises(EmptySession):
        going.begin(lambda: folder / "empty.sqlite", "csv", "")
    begun.append(going.begin(lambda: folder / "long.sqlite", "csv", "again"))
    assert going.told("again")["state"] == "going"
    for one in begun:
        one.close()


def test_the_page_says_that_a_table_is_whole(page_address: str, tab: Page) -> None:
    tab.goto(f"{page_address}/sessions/key-on-suspect.sqlite")
    with tab.expect_download() as taken:
        tab.click("text=CSV")
    assert Path(taken.value.path()).read_text().count("\n") > 10
    tab.get_by_text("CSV: all ").wait_for()
    assert tab.get_by_role("button", name="Cancel CSV").count() == 0


def test_the_page_says_how_far_a_table_is_and_cancels_it(page_address: str, tab: Page) -> None:
    told = {"state": "going", "said": "", "readings": 1_250_000, "of": 5_000_000, "bytes": 56_000_000}

    def answer(route: Route) -> None:
        if route.request.method == "POST":
            told["state"] = "ended"
        route.fulfill(json=told)

    tab.route("**/files/going/*", answer)
    tab.goto(f"{page_address}/sessions/key-on-suspect.sqlite")
    tab.click("text=CSV")
    tab.get_by_text("CSV: 1,250,000 of 5,000,000 readings, 56 MB of about 224 MB").wait_for()
    tab.get_by_role("button", name="Cancel CSV").click()
    tab.get_by_text("CSV: cancelled; what has come is not whole").wait_for()
    assert tab.get_by_role("button", name="Cancel CSV").count() == 0
