"""Checks what sits between the meter and the wire: a clamp's scale, an offset, leads the wrong way round."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from meterlog.address import Address
from meterlog.capture.meters import meter_setup
from meterlog.cli.main import main
from meterlog.driver import Conversion, driver_names, load_driver
from meterlog.errors import AddressError
from meterlog.reading import Accuracy, Flag, Quantity, Reading
from meterlog.session import open_reader
from tests.conftest import write_capture

Q = Quantity
MV = Reading(0.0, 0.01252, Q.DC_VOLTAGE, 1e-5, Flag.DC | Flag.AUTORANGE)


def converted(options: str, reading: Reading = MV) -> Reading:
    conversion = Conversion.of(Address.parse(f"text:x?{options}"))
    assert conversion is not None
    return conversion(reading)


@pytest.mark.parametrize(
    ("options", "value", "quantity", "resolution"),
    [
        ("scale=100A/V", 1.252, Q.DC_CURRENT, 1e-3),
        ("scale=10mV/A", 1.252, Q.DC_CURRENT, 1e-3),
        ("scale=1mV/10mA", 0.1252, Q.DC_CURRENT, 1e-4),
        ("scale=0.1A/mV", 1.252, Q.DC_CURRENT, 1e-3),
        ("scale=10V/V", 0.1252, Q.DC_VOLTAGE, 1e-4),
        ("scale=1mV/degC", 12.52, Q.TEMPERATURE, 1e-2),
        ("invert=yes", -0.01252, Q.DC_VOLTAGE, 1e-5),
        ("invert=no", 0.01252, Q.DC_VOLTAGE, 1e-5),
        ("offset=-2.5mV", 0.01002, Q.DC_VOLTAGE, 1e-5),
        ("offset=-20mA", 0.01252, Q.DC_VOLTAGE, 1e-5),  # these are volts
        ("scale=100A/V&invert=yes&offset=-20mA", -1.272, Q.DC_CURRENT, 1e-3),
        ("scale=100A/V&offset=-0.3ohm;-20mA@2026-11-28", 1.232, Q.DC_CURRENT, 1e-3),
        ("scale=100A/V&offset=1mV", 1.252, Q.DC_CURRENT, 1e-3),  # these are amperes
        ("scale=1000A/A", 0.01252, Q.DC_VOLTAGE, 1e-5),  # the dial is at volts
    ],
)
def test_a_reading_is_what_the_options_make_of_it(
    options: str, value: float, quantity: Quantity, resolution: float
) -> None:
    meant = converted(options)
    assert (meant.value, meant.quantity, meant.resolution) == (value, quantity, resolution)
    assert meant.flags == (Flag.AUTORANGE if quantity is Q.TEMPERATURE else MV.flags)


def test_what_the_options_do_not_name_stays_as_it_was_shown() -> None:
    everything = "scale=100A/V&invert=yes&offset=-20mA"
    for reading in (
        Reading(1.0, 4.7, Q.RESISTANCE, 0.1),
        MV._replace(column=1),
    ):
        assert converted(everything, reading) == reading
    ac = Reading(0.0, 0.5, Q.AC_VOLTAGE, 1e-3, Flag.AC)
    assert converted(everything, ac)[1:5] == (50.0, Q.AC_CURRENT, 0.1, Flag.AC), "no sign and no zero of its own"


def test_an_overload_stays_one() -> None:
    over = MV._replace(value=math.inf, flags=Flag.OVERLOAD)
    assert converted("scale=100A/V", over)[1:5] == (math.inf, Q.DC_CURRENT, 1e-3, Flag.OVERLOAD)
    assert converted("invert=yes&offset=1V", over).value == -math.inf


@pytest.mark.parametrize(
    ("options", "message"),
    [
        ("scale=100", "scale must have the form 100A/V"),
        ("scale=100A/ohm", "scale must have the form 100A/V"),
        ("scale=0A/V", "above nothing"),
        ("scale=-100A/V", "above nothing"),
        ("scale=100W/V", "the unit 'W' is not known"),
        ("scale=1,000A/V", "can be a decimal comma or a thousand"),
        ("offset=0.5", "offset wants its unit"),
        ("offset=1mA;2mA", "offset names A twice"),
        ("offset=1mA@today", "the day of an offset must be like 2026-11-28"),
        ("offset=much", "offset cannot be read"),
        ("invert=maybe", "invert must be one of yes, no"),
    ],
)
def test_an_option_that_cannot_be_understood_is_refused_before_the_port_is_opened(options: str, message: str) -> None:
    with pytest.raises(AddressError, match=message):
        meter_setup(f"text:COM7?{options}")


def test_every_driver_takes_them() -> None:
    for name in driver_names():
        assert load_driver(name).known_options() >= {"scale", "offset", "invert"}, name


def test_a_clamp_recorded_by_a_saved_name_is_a_current_in_the_session(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    settings, out = tmp_path / "settings.toml", tmp_path / "a.sqlite"
    capture = write_capture(tmp_path / "a.raw", ((n * 0.3, b"12.52 mV\r\n") for n in range(10)))
    monkeypatch.setenv("METERLOG_SETTINGS", str(settings))
    settings.write_text(
        f"[meters.clamp]\naddress = 'replay:{capture}?decoder=text&speed=20'\n"
        "scale = '100A/V'\noffset = '-52mA'\ninvert = 'no'\n"
    )
    assert main(["record", "--meter", "clamp?label=feed", "--out", str(out), "--plain"]) == 0
    with open_reader(out) as reader:
        (channel,) = reader.channels
        assert channel.quantity is Q.DC_CURRENT
        assert set(reader.series(1).value) == {1.2}
        assert "scale=100A%2FV" in channel.address
    assert "scales without an accuracy" in " ".join(capsys.readouterr().out.split())
    assert main(["analyze", str(out)]) == 0
    assert "feed, current, scale 100A/V, offset -0.052 A: lowest 1.200 A" in capsys.readouterr().out


def test_a_clamp_whose_accuracy_is_stated_needs_no_caution() -> None:
    assert not meter_setup("text:COM7?scale=100A/V&accuracy=2pct%2B5").accuracy_unstated
    assert not meter_setup("text:COM7?offset=1mV").accuracy_unstated
    assert "2pct%2B5" in meter_setup("text:COM7?scale=100A/V").accuracy_unstated


def test_a_clamps_fixed_error_is_kept_with_its_channel_and_widens_what_is_said(tmp_path: Path) -> None:
    out = tmp_path / "a.sqlite"
    capture = write_capture(tmp_path / "a.raw", ((n * 0.3, b"12.52 mV\r\n") for n in range(10)))
    address = f"replay:{capture}?decoder=text&speed=20&scale=100A/V&accuracy=2pct%2B0%2B50mA"
    assert main(["record", "--meter", address, "--out", str(out), "--plain"]) == 0
    with open_reader(out) as reader:
        assert reader.channels[0].accuracy == Accuracy(0.02, 0.0, 0.05)
    page = tmp_path / "a.html"
    assert main(["report", str(out), "--out", str(page)]) == 0
    assert "(2 % + 0 counts + 50 mA)" in page.read_text()
    assert "fixed error 1" not in page.read_text(), "it stands with the channel, not among what was entered"
