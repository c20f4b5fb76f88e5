"""The order of the meters numbers the channels, whoever speaks first; a silent meter's number stays free."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Protocol

import pytest

from meterlog.capture import ArmedCapture, Condition, Recorder, meter_setup
from meterlog.capture.channel_table import ChannelTable
from meterlog.cli.main import main
from meterlog.reading import Quantity, Reading
from meterlog.session import SessionWriter, open_reader
from tests.waiting import until

V, OHM = Quantity.DC_VOLTAGE, Quantity.RESISTANCE


class Plugged(Protocol):
    """A meter on a pseudo-terminal: see tests/conftest.py."""

    port: Path

    def show(self, value: float, quantity: Quantity = ..., resolution: float = ...) -> None: ...


def show(recorder: Recorder, meter: Plugged, value: float, quantity: Quantity = V) -> None:
    """Show a value and wait until it was taken."""
    before = sum(channel.count for channel in recorder.channels.values())
    meter.show(value, quantity)
    until(lambda: sum(channel.count for channel in recorder.channels.values()) > before)


def test_the_meter_that_speaks_first_takes_no_other_meters_number(
    plug_in: Callable[[], Plugged], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    first, silent, third = plug_in(), plug_in(), plug_in()
    path = tmp_path / "a.sqlite"
    labels = ("feed", "spare", "ground")
    meters = [
        meter_setup(f"status14:{m.port}?label={label}") for m, label in zip((first, silent, third), labels, strict=True)
    ]
    recorder = Recorder(meters, SessionWriter.create(path))
    recorder.start()
    show(recorder, third, 0.1)
    show(recorder, third, 4.7, OHM)
    show(recorder, first, 12.4)
    assert list(recorder.channels) == [1, 3, 4]
    recorder.finish()
    with open_reader(path) as reader:
        assert [(c.number, c.label, c.quantity) for c in reader.channels] == [
            (1, "feed", V),
            (3, "ground", V),
            (4, "ground", OHM),
        ]
        assert list(reader.series(1).value) == [12.4]
    for command in (["analyze", str(path)], ["export", str(path), "--out", str(tmp_path / "a.csv")]):
        assert main(command) == 0
    capsys.readouterr()


def test_an_armed_capture_on_a_number_watches_that_meter(plug_in: Callable[[], Plugged], tmp_path: Path) -> None:
    first, second = plug_in(), plug_in()
    meters = [meter_setup(f"status14:{m.port}") for m in (first, second)]
    armed = ArmedCapture(Condition.parse("above 6V on 2"), 1.0, 1.0)
    recorder = Recorder(meters, SessionWriter.create(tmp_path / "a.sqlite"), armed=armed)
    recorder.start()
    show(recorder, second, 0.0)
    show(recorder, first, 12.0)
    assert recorder.captures == 0
    show(recorder, second, 12.0)
    assert recorder.captures == 1
    recorder.finish()


def numbers(addresses: Sequence[str], shown: Sequence[tuple[int, int, Quantity]], path: Path) -> list[int]:
    """The numbers given to (meter, column, quantity), in the order in which they are shown."""
    with SessionWriter.create(path) as writer:
        table = ChannelTable([meter_setup(address) for address in addresses], writer)
        return [table.begin(meter, Reading(0.0, 1.0, q, 0.1, column=column)).number for meter, column, q in shown]


def test_named_columns_have_their_numbers_before_anything_is_shown(tmp_path: Path) -> None:
    two = "text:/dev/ttyS8?profile=two-column&label=feed,ground"
    shown = [(1, 1, V), (2, 0, V), (1, 0, V), (0, 0, OHM), (0, 0, V), (1, 2, V)]
    assert numbers(["status14:/dev/ttyS7", two, "status14:/dev/ttyS9"], shown, tmp_path / "a") == [4, 3, 2, 1, 5, 6]


def test_a_replayed_sessions_channels_keep_their_order(tmp_path: Path) -> None:
    source = tmp_path / "source.sqlite"
    with SessionWriter.create(source, monotonic_start_s=0.0) as writer:
        for label in ("a", "b", "c"):
            writer.append(writer.add_channel(label, V), [Reading(1.0, 1.0, V, 0.1)])
    assert numbers([f"replay:{source}"], [(0, 2, V), (0, 0, V), (0, 1, V)], tmp_path / "b") == [3, 1, 2]


def test_columns_that_come_together_are_numbered_from_left_to_right(tmp_path: Path) -> None:
    with SessionWriter.create(tmp_path / "a.sqlite") as writer:
        table = ChannelTable([meter_setup("text:/dev/ttyS8?profile=two-column")], writer)
        readings = [Reading(0.0, 1.0, V, 0.1, column=column) for column in (2, 0, 1, 2)]
        assert [reading.column for reading in table.new(0, readings)] == [0, 1, 2]


def test_a_number_that_is_taken_is_not_given_again(tmp_path: Path) -> None:
    with SessionWriter.create(tmp_path / "a.sqlite") as writer:
        assert writer.add_channel("b", V, number=3) == 3
        assert writer.add_channel("c", V) == 4
        with pytest.raises(ValueError, match="a channel 3 already"):
            writer.add_channel("d", V, number=3)
        with pytest.raises(ValueError, match="channel 1 was never added"):
            writer.append(1, [Reading(0.0, 1.0, V, 0.1)])
