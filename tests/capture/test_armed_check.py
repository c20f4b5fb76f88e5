"""A condition that can never come true is refused at once, or said the moment the meters show what they measure."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Protocol

import pytest

from meterlog.capture import ArmedCapture, Condition, Notice, Recorder, meter_setup
from meterlog.capture.armed_check import check_channel
from meterlog.cli.main import main
from meterlog.errors import UsageError
from meterlog.reading import Quantity
from meterlog.session import SessionWriter
from tests.waiting import until

TWO = ("status14:/dev/ttyS8?label=feed", "status14:/dev/ttyS9?label=ground")


class Plugged(Protocol):
    """A meter on a pseudo-terminal: see tests/conftest.py."""

    port: Path

    def show(self, value: float, quantity: Quantity = ..., resolution: float = ...) -> None: ...


def check(condition: str, *addresses: str) -> None:
    check_channel(Condition.parse(condition), [meter_setup(address) for address in addresses])


@pytest.mark.parametrize("condition", ["rise 6V on feet", "rise 6V on 3", "open on 0", "fall 9V on ground 2"])
def test_a_channel_that_no_meter_has_is_refused_with_those_there_will_be(condition: str) -> None:
    with pytest.raises(UsageError, match=r"which none of these meters has.*there will be 1 feed, 2 ground"):
        check(condition, *TWO)


@pytest.mark.parametrize("condition", ["rise 6V", "rise 6V on FEED", "rise 6V on 2", "open on ground"])
def test_a_channel_that_there_will_be_is_taken(condition: str) -> None:
    check(condition, *TWO)


def test_what_only_the_readings_tell_is_not_refused() -> None:
    check("rise 6V on 3", "text:/dev/ttyS9?profile=two-column&label=feed,ground")  # a third column may come
    check("rise 6V on status14 ttyS9", "auto:/dev/ttyS9")  # named by the driver that is found
    check("rise 6V on feed, left", "auto:/dev/ttyS9?label=feed,+left")
    check("rise 6V on 2", *TWO[:1], "auto:/dev/ttyS9?label=b")
    with pytest.raises(UsageError, match="none of these meters has"):
        check("rise 6V on right", "auto:/dev/ttyS9?label=feed,+left")


def test_record_says_it_in_one_line_and_makes_no_file(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "out.sqlite"
    words = ["record", "--meter", "sim:healthy-prime", "--out", str(out), "--armed", "rise 6V on pump fed"]
    assert main(words) == 2
    said = capsys.readouterr().err
    assert "did you mean 'pump feed'?" in said
    assert said.count("\n") == 1
    assert not list(tmp_path.iterdir())


def test_a_quantity_that_does_not_fit_is_said_once_every_meter_that_might_has_spoken(
    plug_in: Callable[[], Plugged], tmp_path: Path
) -> None:
    first, second = plug_in(), plug_in()
    told: list[Notice] = []
    meters = [meter_setup(f"status14:{first.port}?label=feed"), meter_setup(f"status14:{second.port}?label=motor")]
    armed = ArmedCapture(Condition.parse("above 1A"))
    recorder = Recorder(meters, SessionWriter.create(tmp_path / "a.sqlite"), armed=armed, observer=told.append)
    recorder.start()

    def show(meter: Plugged, quantity: Quantity, channels: int) -> list[str]:
        meter.show(1.0, quantity)
        until(lambda: len(recorder.channels) >= channels and all(one.count for one in recorder.channels.values()))
        return [notice.text for notice in told if notice.kind == "waiting"]

    assert show(first, Quantity.DC_VOLTAGE, 1) == []  # the other meter may be an ammeter
    (said,) = show(second, Quantity.RESISTANCE, 2)
    assert said.startswith("'above 1A' cannot come true: feed shows DC voltage, motor shows resistance; turn the dial")
    assert show(second, Quantity.DC_CURRENT, 3) == [said]  # the dial was turned to what is waited for
    recorder.finish()


def test_a_channel_of_the_wrong_quantity_is_said_while_other_meters_are_silent(
    plug_in: Callable[[], Plugged], tmp_path: Path
) -> None:
    first, silent = plug_in(), plug_in()
    told: list[Notice] = []
    meters = [meter_setup(f"status14:{first.port}?label=feed"), meter_setup(f"status14:{silent.port}?label=motor")]
    armed = ArmedCapture(Condition.parse("above 1A on feed"))
    recorder = Recorder(meters, SessionWriter.create(tmp_path / "a.sqlite"), armed=armed, observer=told.append)
    recorder.start()
    first.show(12.0)
    until(lambda: any(notice.kind == "waiting" for notice in told))
    recorder.finish()
