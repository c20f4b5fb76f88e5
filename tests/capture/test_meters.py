"""An address says what to call a meter, how exact it is and when its silence means a lost link."""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Protocol

import pytest

from meterlog.address import Address
from meterlog.capture import Recorder, meter_setup
from meterlog.driver import Connection
from meterlog.errors import AddressError, UnknownDriver, UsageError
from meterlog.reading import Accuracy, Quantity, Reading
from meterlog.session import SessionWriter, open_reader


class PluggedMeter(Protocol):
    """The fixture `plug_in` gives them."""

    port: Path

    def show(self, value: float) -> None: ...


def test_labels_points_and_interval_come_from_the_address() -> None:
    setup = meter_setup("status14:/dev/ttyUSB0?label=pump+feed&point=pump+pin+1&interval_s=0.4&watchdog_s=9")
    assert (setup.label(0), setup.point(0), setup.interval_s, setup.watchdog_s) == ("pump feed", "pump pin 1", 0.4, 9.0)


def test_columns_have_their_own_labels_and_points() -> None:
    setup = meter_setup("text:/dev/ttyUSB0?profile=two-column&label=feed,ground&point=A1,B2")
    assert [setup.label(i) for i in range(3)] == ["feed", "ground", "text ttyUSB0 3"]
    assert [setup.point(i) for i in range(3)] == ["A1", "B2", ""]


@pytest.mark.parametrize("meter", ["status14:/dev/ttyUSB0?", "text:COM7?", "ble:AA:BB:CC:DD:EE:FF?decoder=digits14&"])
def test_a_meter_with_one_column_keeps_the_commas_of_its_label_and_point(meter: str) -> None:
    setup = meter_setup(f"{meter}label=feed,+left&point=C12,+pin+3")
    assert (setup.label(0), setup.point(0)) == ("feed, left", "C12, pin 3")
    assert "feed" not in setup.label(1), "no word of the first column's says what another one is"
    assert setup.point(1) == ""


def test_a_profile_of_frames_says_how_many_columns_there_are(tmp_path: Path) -> None:
    shown = tmp_path / "one.toml"
    shown.write_text(
        'kind = "frames"\nlines = ["9600 8N1"]\n[frame]\nlength = 4\nstart = [0xAB]\n'
        '[number]\ndigits = "bcd"\nat = [2, 3]\n[[map]]\nat = 1\nvalues = { "0x01" = "dc V" }\n'
    )
    assert meter_setup(f"frames:COM7?profile={shown}&point=C12,+pin+3").point(0) == "C12, pin 3"
    shown.write_text(shown.read_text().replace('"dc V" }', '"dc V", "0x02" = "dc V column1" }'))
    setup = meter_setup(f"frames:COM7?profile={shown}&point=C12,+pin+3")
    assert [setup.point(i) for i in range(2)] == ["C12", "pin 3"]


@pytest.mark.parametrize("meter", ["scpi:COM7", "chars16:COM7", "sim:healthy-prime"])
def test_a_comma_that_may_be_part_of_a_text_is_refused_rather_than_cut(meter: str) -> None:
    for options in ("label=feed&point=C12,+pin+3", "label=feed,+left&point=C12"):
        with pytest.raises(AddressError, match="semicolon in place of a comma"):
            meter_setup(f"{meter}?{options}")
    assert meter_setup(f"{meter}?label=feed&point=C12;+pin+3").point(0) == "C12; pin 3"


def test_a_driver_found_later_that_may_have_columns_cuts_no_text_short() -> None:
    class Found:
        name, found = "found", Address.parse("scpi:/dev/ttyUSB0")

        def open(self) -> Connection:
            raise NotImplementedError

    setup = replace(meter_setup("auto:/dev/ttyUSB0?label=feed&point=C12,+pin+3"), meter=Found())
    assert (setup.label(0), setup.point(0)) == ("feed", "C12, pin 3")
    setup = replace(meter_setup("auto:/dev/ttyUSB0?label=feed,ground&point=A1,B2"), meter=Found())
    assert [(setup.label(i), setup.point(i)) for i in range(2)] == [("feed", "A1"), ("ground", "B2")]


def test_without_a_label_the_driver_and_the_port_name_it() -> None:
    setup = meter_setup("status14:/dev/ttyUSB0")
    assert [setup.label(i) for i in range(2)] == ["status14 ttyUSB0", "status14 ttyUSB0 2"]


def test_a_replayed_session_keeps_its_labels_and_is_never_begun_again(tmp_path: Path) -> None:
    path = tmp_path / "a.sqlite"
    with SessionWriter.create(path, monotonic_start_s=0.0) as writer:
        writer.append(writer.add_channel("pump feed", Quantity.DC_VOLTAGE), [Reading(1.0, 2.0, Quantity.DC_VOLTAGE)])
    setup = meter_setup(f"replay:{path}")
    assert setup.label(0) == "pump feed"
    assert setup.watchdog_s == 0.0
    assert meter_setup(f"replay:{path}?label=mine").label(0) == "mine"


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("0.8pct%2B3", Accuracy(0.008, 3.0)),
        ("0.8%25%2B3", Accuracy(0.008, 3.0)),
        ("0.8%25+3", Accuracy(0.008, 3.0)),
        ("1pct", Accuracy(0.01, 0.0)),
        ("2pct%2B3%2B50mA", Accuracy(0.02, 3.0, 0.05)),
        ("2pct%2B50mA", Accuracy(0.02, 0.0, 0.05)),
        ("2pct+3+0,05 A", Accuracy(0.02, 3.0, 0.05)),
    ],
)
def test_accuracy_is_a_share_and_counts(text: str, expected: Accuracy) -> None:
    assert meter_setup(f"status14:/dev/ttyUSB0?accuracy={text}").accuracy == pytest.approx(expected)


def test_a_clamps_fixed_error_counts_for_amperes_alone() -> None:
    setup = meter_setup("status14:/dev/ttyUSB0?scale=100A/V&accuracy=2pct%2B3%2B50mA")
    assert setup.accuracy_of(Quantity.DC_CURRENT).error(1.0, 0.001) == pytest.approx(0.02 + 0.003 + 0.05)
    assert setup.accuracy_of(Quantity.RESISTANCE).error(1.0, 0.001) == pytest.approx(0.02 + 0.003)


def test_the_usual_accuracy_is_the_default() -> None:
    assert meter_setup("status14:/dev/ttyUSB0").accuracy == Accuracy()


@pytest.mark.parametrize(
    "option",
    ["accuracy=good", "accuracy=2pct%2B3%2B5parsec", "accuracy=..pct", "interval_s=0", "interval_s=x", "watchdog_s=-1"],
)
def test_options_that_cannot_be_understood_are_refused(option: str) -> None:
    with pytest.raises(AddressError, match=option.partition("=")[0]):
        meter_setup(f"status14:/dev/ttyUSB0?{option}")


def test_an_unknown_driver_is_refused_every_time() -> None:
    for _ in range(2):
        with pytest.raises(UnknownDriver):
            meter_setup("nosuch:/dev/ttyUSB0")


def test_a_meter_without_bytes_has_nothing_raw(tmp_path: Path) -> None:
    path = tmp_path / "a.sqlite"
    with SessionWriter.create(path, monotonic_start_s=0.0) as writer:
        writer.append(writer.add_channel("feed", Quantity.DC_VOLTAGE), [Reading(1.0, 2.0, Quantity.DC_VOLTAGE)])
    with pytest.raises(UsageError, match="no bytes"):
        _ = meter_setup(f"replay:{path}").byte_time_s


def test_the_session_names_the_driver_that_was_found_not_the_way_it_was_found(
    plug_in: Callable[[], PluggedMeter], tmp_path: Path
) -> None:
    meter, path = plug_in(), tmp_path / "a.sqlite"
    setup = meter_setup(f"auto:{meter.port}?label=feed&point=C12,+pin+3")
    assert setup.reached_by == setup.address
    recorder = Recorder([setup], SessionWriter.create(path))
    sending = threading.Event()

    def send() -> None:
        while not sending.wait(0.02):
            meter.show(12.3)

    thread = threading.Thread(target=send)
    thread.start()
    try:
        recorder.start()
        for _ in range(300):
            if recorder.channels:
                break
            recorder.wait(0.1)
    finally:
        sending.set()
        thread.join()
        recorder.finish()
    with open_reader(path) as reader:
        (channel,) = reader.channels
    assert (channel.driver, channel.label, channel.point) == ("status14", "feed", "C12, pin 3")
    assert channel.address.startswith(f"status14:{meter.port}?label=feed&")
