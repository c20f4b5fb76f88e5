"""Bench meters over SCPI: read through a real TCP socket and a real pseudo-terminal, well behaved and not."""

from __future__ import annotations

import math
import os
import select
import threading
import time
from collections.abc import Callable, Iterator

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from meterlog.driver import Connection, open_address
from meterlog.errors import AddressError, LinkAbsent, LinkError, LinkLost
from meterlog.reading import Flag, Quantity, Reading
from meterlog_drivers.display.scpi_words import (
    error_of,
    number_text,
    quantity_of,
    short_form,
    values_of,
    without_prompt,
)
from meterlog_drivers.simulated.emulation.scpi_instrument import Habits, ScpiInstrument, ScpiServer

BATTERY = Reading(0.0, 12.34, Quantity.DC_VOLTAGE, 0.01, Flag.DC)


def opened(server: ScpiServer, options: str = "") -> Connection:
    return open_address(f"scpi:{server.url}?timeout_s=0.4{options}")[1].open()


def some(connection: Connection, count: int) -> list[Reading]:
    """So many readings, or a failure after a minute."""
    readings: list[Reading] = []
    end_s = time.monotonic() + 60.0
    while len(readings) < count:
        assert time.monotonic() < end_s
        readings += connection.read(0.2) or []
    return readings


def test_it_reads_by_visa_what_the_instrument_shows_and_says_when_it_is_gone() -> None:
    with ScpiServer(ScpiInstrument(lambda: [BATTERY])) as server:
        host, port = server.url.removeprefix("socket://").split(":")
        connection = open_address(f"scpi:TCPIP::{host}::{port}::SOCKET?timeout_s=1")[1].open()
        readings = some(connection, 3)
    with pytest.raises(LinkLost):
        some(connection, 1000)
    connection.close()
    assert [reading._replace(time_s=0.0) for reading in readings] == [BATTERY] * 3


@pytest.mark.parametrize("resource", ["TCPIP::127.0.0.1::9::SOCKET", "USB0::0x1234::0x5678::NONE::INSTR", "TCPIP::x"])
def test_what_visa_cannot_reach_is_one_sentence(resource: str) -> None:
    with pytest.raises((LinkError, AddressError), match=resource.partition(":")[0]):
        open_address(f"scpi:{resource}")[1].open()


@pytest.mark.parametrize("query", ["read", "fetch"])
def test_it_reads_what_the_instrument_shows(query: str) -> None:
    with ScpiServer(ScpiInstrument(lambda: [BATTERY])) as server:
        connection = opened(server, f"&ask={query}")
        before_s = time.monotonic()
        readings = some(connection, 3)
        connection.close()
    for reading in readings:
        assert reading._replace(time_s=0.0) == BATTERY
        assert before_s - 1.0 < reading.time_s <= time.monotonic()


def test_fetching_keeps_the_interval_that_the_address_asks_for() -> None:
    with ScpiServer(ScpiInstrument(lambda: [BATTERY])) as server:
        connection = opened(server, "&ask=fetch&interval_s=0.08")
        times = [r.time_s for r in some(connection, 5)]
        connection.close()
    assert times[-1] - times[0] >= 4 * 0.08 * 0.9


@pytest.mark.parametrize("shown", [math.inf, -math.inf, math.nan])
def test_no_value_is_an_overload_and_never_a_number(shown: float) -> None:
    open_lead = Reading(0.0, shown, Quantity.RESISTANCE, 0.1, Flag.OVERLOAD)
    with ScpiServer(ScpiInstrument(lambda: [open_lead])) as server:
        connection = opened(server)
        (reading,) = some(connection, 1)
        connection.close()
    assert reading.value == (shown if math.isinf(shown) else math.inf)
    assert Flag.OVERLOAD in reading.flags


def test_a_comma_list_gives_a_column_for_each_number() -> None:
    pair = [BATTERY, BATTERY._replace(value=0.31)]
    with ScpiServer(ScpiInstrument(lambda: pair)) as server:
        connection = opened(server)
        readings = some(connection, 2)
        connection.close()
    assert [(r.column, r.value) for r in readings] == [(0, 12.34), (1, 0.31)]


def test_it_sets_function_and_range_and_says_what_is_refused() -> None:
    instrument = ScpiInstrument(lambda: [BATTERY])
    with ScpiServer(instrument) as server:
        connection = opened(server, "&quantity=dc_voltage&range=20")
        some(connection, 1)
        connection.close()
        assert (instrument.set_to, instrument.set_range) == (Quantity.DC_VOLTAGE, 20.0)
        with pytest.raises(LinkError, match=r"refuses CONF:RES.*-221, Settings conflict"):
            opened(server, "&quantity=resistance")
        with pytest.raises(LinkError, match=r"refuses CONF:VOLT:DC 2e\+09.*-222, Data out of range"):
            opened(server, "&quantity=dc_voltage&range=2e9")


def test_the_function_that_is_turned_at_the_panel_is_followed(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("meterlog_drivers.scpi.FUNCTION_EVERY_S", 0.1)
    shown = [BATTERY]
    with ScpiServer(ScpiInstrument(lambda: list(shown))) as server:
        connection = opened(server)
        assert some(connection, 1)[0].quantity is Quantity.DC_VOLTAGE
        shown[0] = Reading(0.0, 4.7, Quantity.RESISTANCE, 0.1)
        time.sleep(0.15)
        assert some(connection, 1)[0]._replace(time_s=0.0) == shown[0]
        connection.close()


@pytest.mark.parametrize(
    "habits",
    [
        Habits(delay_s=0.2),
        Habits(half_s=0.1),
        Habits(prompt="=> "),
        Habits(prompt="> \r\n>"),
        Habits(echo=True),
        Habits(echo=True, prompt="=>\r\n"),
        Habits(terminator=b"\r\n"),
        Habits(terminator=b"\r", listens_for=b"\r"),
        Habits(listens_for=b"\r\n", terminator=b"\r\n"),
        Habits(error_every=2),
    ],
    ids=["slow", "half", "prompt", "prompt-line", "echo", "echo-prompt", "crlf", "cr", "wants-crlf", "errors"],
)
def test_an_odd_instrument_is_read_all_the_same(habits: Habits) -> None:
    with ScpiServer(ScpiInstrument(lambda: [BATTERY], habits)) as server:
        connection = opened(server)
        readings = some(connection, 3)
        connection.close()
    assert {r._replace(time_s=0.0) for r in readings} == {BATTERY}
    assert (connection.traffic.frames_refused > 0) == (habits.error_every > 0)


def test_a_reply_slower_than_one_call_is_waited_for_and_no_second_question_is_sent() -> None:
    instrument = ScpiInstrument(lambda: [BATTERY], Habits(delay_s=0.25))
    with ScpiServer(instrument) as server:
        connection = opened(server)
        for _ in range(2):
            assert connection.read(0.01) == []
        some(connection, 2)
        connection.close()
    assert instrument.receive(b"SYST:ERR?\n")[0].data == b'0,"No error"\n', "no -410: it was never interrupted"


@pytest.mark.parametrize("habits", [Habits(silent_after=1), Habits(cut_after=1)], ids=["silent", "cut"])
def test_an_instrument_that_falls_silent_is_a_lost_link(habits: Habits) -> None:
    with ScpiServer(ScpiInstrument(lambda: [BATTERY], habits)) as server:
        connection = opened(server)
        with pytest.raises(LinkLost, match=r"no reply to READ\? within 0\.4 s"):
            some(connection, 2)
        connection.close()


def test_an_instrument_that_only_complains_is_a_lost_link_with_its_complaint() -> None:
    with ScpiServer(ScpiInstrument(lambda: [BATTERY], Habits(error_every=1))) as server:
        connection = opened(server)
        with pytest.raises(LinkLost, match=r"not numbers, the last 'FAIL'.*-230, Data corrupt"):
            some(connection, 1)
        connection.close()


def test_a_port_where_nothing_answers_is_said_to_be_silent() -> None:
    with (
        ScpiServer(ScpiInstrument(lambda: [BATTERY], Habits(listens_for=b"\x00"))) as server,
        pytest.raises(LinkAbsent, match=r"answers \*IDN\?"),
    ):
        opened(server)


def test_a_hung_up_connection_is_a_lost_link() -> None:
    server = ScpiServer(ScpiInstrument(lambda: [BATTERY]))
    connection = opened(server)
    server.close()
    with pytest.raises(LinkLost):
        some(connection, 50)
    connection.close()


@pytest.mark.parametrize(
    "options", ["quantity=volts", "range=10", "ask=maybe", "remote=2", "terminator=nul", "timeout_s=0", "colour=red"]
)
def test_a_wrong_option_is_refused_before_anything_is_opened(options: str) -> None:
    with pytest.raises(AddressError):
        open_address(f"scpi:socket://127.0.0.1:1?{options}")


@pytest.fixture
def serial_instrument(pseudo_terminal: Callable[[], tuple[int, int]]) -> Iterator[tuple[str, ScpiInstrument]]:
    """An instrument on a pseudo-terminal that ignores commands until SYST:REM."""
    master, slave = pseudo_terminal()
    instrument = ScpiInstrument(lambda: [BATTERY], Habits(needs_remote=True))
    ending = threading.Event()

    def talk() -> None:
        while not ending.is_set():
            if select.select([master], [], [], 0.02)[0]:
                for reply in instrument.receive(os.read(master, 4096)):
                    os.write(master, reply.data)

    thread = threading.Thread(target=talk)
    thread.start()
    yield os.ttyname(slave), instrument
    ending.set()
    thread.join()


def test_on_a_serial_line_it_asks_for_remote_control_and_gives_it_back(
    serial_instrument: tuple[str, ScpiInstrument],
) -> None:
    port, instrument = serial_instrument
    with pytest.raises(LinkError):
        open_address(f"scpi:{port}?timeout_s=0.2&remote=no")[1].open()
    connection = open_address(f"scpi:{port}?timeout_s=0.5")[1].open()
    assert some(connection, 1)[0]._replace(time_s=0.0) == BATTERY
    connection.close()
    time.sleep(0.1)
    assert instrument.receive(b"READ?\n") == [], "local again"


@given(st.integers(-99999, 99999), st.integers(-12, 6))
@settings(derandomize=True)
def test_a_number_goes_there_and_back_unchanged(counts: int, exponent: int) -> None:
    value, resolution = float(f"{counts}e{exponent}"), float(f"1e{exponent}")
    assert values_of(number_text(value, resolution)) == [(value, resolution, Flag.NONE)]


@pytest.mark.parametrize(
    ("text", "value", "resolution"),
    [("12", 12.0, 1.0), ("+12.50", 12.5, 0.01), (".5", 0.5, 0.1), ("-1.2e-3", -0.0012, 1e-4), ("3.E+2", 300.0, 100.0)],
)
def test_all_three_number_forms_are_read(text: str, value: float, resolution: float) -> None:
    assert values_of(text) == [(value, resolution, Flag.NONE)]


@pytest.mark.parametrize("text", ["", "1,", "VOLT", "1 2", "0x10", "nan", "inf", "1e99999"])
def test_what_is_no_number_is_not_read_as_one(text: str) -> None:
    assert values_of(text) is None


@pytest.mark.parametrize("text", ["9.9E37", "+9.90000000E+37", "9.91E37", "1E38", "1E400"])
def test_any_magnitude_from_9_9e37_is_overload(text: str) -> None:
    assert [v.flags for v in values_of(text) or []] == [Flag.OVERLOAD]


def test_headers_prompts_and_errors_are_understood() -> None:
    assert short_form(":CONFigure:VOLTage:DC") == short_form("conf:volt:dc") == "CONF:VOLT:DC"
    assert short_form("SYSTem:REMote") == "SYST:REM"
    assert quantity_of('"VOLT:AC"') is Quantity.AC_VOLTAGE
    assert quantity_of("VOLT +1.0E+01,+1.0E-06") is Quantity.DC_VOLTAGE
    assert quantity_of("TOTALIZE") is None
    assert without_prompt("=> +1.0") == "+1.0"
    assert error_of('-113,"Undefined header"') == (-113, "Undefined header")
    assert error_of("+1.0") is None
