"""Checks that what is in reach and which driver fits is found once; terminal and page show the same."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from types import SimpleNamespace
from typing import Protocol

import pytest

from meterlog.cli.main import main
from meterlog.driver import discover
from meterlog_dashboard.record import meter_search

CABLE = SimpleNamespace(
    device="/dev/ttyUSB0", description="USB Serial", vid=0x1A86, pid=0x7523, serial_number="A1", location="1-2"
)


class Plugged(Protocol):
    """A meter on a pseudo-terminal: see tests/conftest.py."""

    port: Path

    def show(self, value: float) -> None: ...


@pytest.fixture
def showing(plug_in: Callable[[], Plugged]) -> Iterator[Plugged]:
    """A meter that shows 12.3 V over and over."""
    meter, ending = plug_in(), threading.Event()

    def talk() -> None:
        while not ending.wait(0.02):
            meter.show(12.3)

    thread = threading.Thread(target=talk)
    thread.start()
    yield meter
    ending.set()
    thread.join()


def test_a_listed_port_can_be_used_before_anybody_listened(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("meterlog.transports.usb_port.ports", lambda: [CABLE])
    (port,) = discover.serial_ports()
    assert (port.name, str(port.address)) == ("/dev/ttyUSB0", "auto:/dev/ttyUSB0")
    assert port.what == "USB Serial, USB 1a86:7523, serial number A1"
    assert discover.serial_ports(["/dev/other"])[0].what == ""


def test_terminal_and_page_say_the_same_of_what_was_heard(
    showing: Plugged, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    name = str(showing.port)
    monkeypatch.setattr(
        "meterlog.transports.usb_port.ports", lambda: [SimpleNamespace(**{**vars(CABLE), "device": name})]
    )
    (found,) = discover.listen(discover.serial_ports(), 2.0)
    assert str(found.address) == f"status14:{name}"
    assert any("status14 fits" in sentence and "DC voltage" in sentence for sentence in found.says)
    assert [reading.value for reading in found.readings] == [12.3] * 3
    assert main(["meters", name, "--listen", "2"]) == 0
    printed = capsys.readouterr().out
    page = str(meter_search.found_list([found]))
    for sentence in (found.what, *found.says):
        said = sentence.partition(":")[0]  # the counts differ from one listening to the next
        assert said in printed
        assert said in page
    assert f'record it:  meterlog record --meter "{found.address}"' in printed
    assert f"Use {found.address}" in page


def test_a_port_that_cannot_be_opened_says_so_and_the_others_go_on(showing: Plugged) -> None:
    absent, there = discover.listen(discover.serial_ports(["/dev/no-such-port", str(showing.port)]), 2.0)
    assert absent.address is None
    assert "/dev/no-such-port" in " ".join(absent.says)
    assert there.address is not None


def test_a_silent_port_is_not_offered_for_use(plug_in: Callable[[], Plugged]) -> None:
    meter = plug_in()
    (found,) = discover.listen(discover.serial_ports([str(meter.port)]), 0.5)
    assert found.address is None
    assert "nothing came" in found.says[-1]
    assert "Use " not in str(meter_search.found_list([found]))
