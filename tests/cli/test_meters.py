"""`meterlog meters`: what a person sees of ports, drivers and their mistakes. Listening is tested in test_probe.py."""

from __future__ import annotations

from types import SimpleNamespace

import pytest

from meterlog.cli.main import main
from meterlog.driver import load_driver
from meterlog.errors import BrokenDriver

CABLE = SimpleNamespace(
    device="/dev/ttyUSB0", description="USB Serial", vid=0x1A86, pid=0x7523, serial_number="A1", location="1-2"
)
BOARD = SimpleNamespace(device="/dev/ttyS0", description="n/a", vid=None, pid=None, serial_number=None, location=None)


def test_ports_are_listed_with_their_usb_identity(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr("meterlog.transports.usb_port.ports", lambda: [CABLE, BOARD])
    assert main(["meters"]) == 0
    out = capsys.readouterr().out
    assert "/dev/ttyUSB0  USB Serial, USB 1a86:7523, serial number A1\n/dev/ttyS0\n" in out
    assert "add --listen" in out


def test_no_ports_is_said(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    monkeypatch.setattr("meterlog.transports.usb_port.ports", list)
    assert main(["meters"]) == 0
    assert "no serial ports: plug the meter's cable in" in capsys.readouterr().out


def test_a_driver_that_fails_to_load_is_named_and_left_out(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def load(name: str) -> object:
        if name == "chars16":
            raise BrokenDriver("the driver 'chars16' of meterlog fails to load: no memory")
        return load_driver(name)

    monkeypatch.setattr("meterlog.driver.probe.load_driver", load)
    assert main(["meters", "/dev/no-such-port", "--listen", "0.5"]) == 0
    out = capsys.readouterr().out
    assert "left out: the driver 'chars16' of meterlog fails to load: no memory" in out


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (["--try", "no-such", "x.raw"], "there is no profile 'no-such'"),
        (["--try", "value-unit", "/no/such.raw"], "there is no file '/no/such.raw'"),
        (["--listen", "1000"], "--listen wants 0.5 to 600 seconds"),
    ],
)
def test_a_mistake_is_one_line_and_exit_2(words: list[str], message: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["meters", *words]) == 2
    err = capsys.readouterr().err
    assert message in err
    assert err.count("\n") == 1
