"""A meter across a fuse that stays in shows the current through it, with the spread of such fuses in its error."""

from __future__ import annotations

from pathlib import Path

import pytest

from meterlog.address import Address
from meterlog.capture.meters import meter_setup
from meterlog.cli.main import main
from meterlog.driver import Conversion
from meterlog.errors import AddressError, UsageError
from meterlog.fuses import fuse_named
from meterlog.reading import Flag, Quantity, Reading
from meterlog.session import open_reader
from tests.conftest import write_capture

MV = Reading(0.0, 0.00077, Quantity.DC_VOLTAGE, 1e-5, Flag.DC)


@pytest.mark.parametrize("text", ["mini-10A", "mini 10 A", "MINI-10a", "blade-10A", "10A", "10"])
def test_a_fuse_is_found_by_size_and_rating_as_people_write_them(text: str) -> None:
    assert fuse_named(text)[1:4] == (0.0077, 0.15, 10.0)


def test_millivolts_across_a_fuse_are_amperes() -> None:
    conversion = Conversion.of(Address.parse("text:x?scale=fuse:mini-10A"))
    assert conversion is not None
    meant = conversion(MV)
    assert meant[1:3] == (0.1, Quantity.DC_CURRENT)
    assert meant.resolution == pytest.approx(1e-5 / 0.0077)
    assert conversion.words(Quantity.DC_CURRENT) == "scale of a fuse (mini-10A, 7.7 mohm +-15 % cold, unverified)"


def test_the_spread_of_fuses_is_in_the_error() -> None:
    setup = meter_setup("text:COM7?scale=fuse:mini-10A&accuracy=1pct%2B2")
    assert setup.accuracy.share == pytest.approx(0.01 + 1 / 0.85 - 1)
    assert setup.accuracy.counts == 2
    assert not setup.accuracy_unstated
    assert "without an accuracy" in meter_setup("text:COM7?scale=fuse:7.4mohm").accuracy_unstated


def test_the_true_current_is_inside_the_error_whatever_the_fuse_within_the_table() -> None:
    fuse = fuse_named("mini-10A")
    for true_a in (0.02, 0.3, 2.0, 5.0, 10.0):
        for share in (-0.15, 0.0, 0.15):
            for hot in (1.0, 1.0 + 0.5 * (true_a / 10) ** 2):
                volts = true_a * fuse.ohm * (1 + share) * hot
                amperes, error_a = fuse.current(volts, 1e-5)
                assert abs(amperes - true_a) <= error_a + 1e-12, (true_a, share, hot)


def test_a_measured_resistance_has_no_spread() -> None:
    amperes, error_a = fuse_named("7,4 mohm").current(0.00074, 0.0)
    assert amperes == pytest.approx(0.1)
    assert error_a == 0.0


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("mini-12A", "it has mini and blade fuses of 3, 5, 7.5, 10, 15, 20, 25, 30 A; or say its resistance"),
        ("minni-10A", "did you mean 'mini-10A'"),
        ("5ohm", "a fuse has 0.1 to 1000 mohm"),
        ("", "is no fuse"),
    ],
)
def test_what_is_no_fuse_is_refused(text: str, says: str) -> None:
    with pytest.raises(UsageError, match=says):
        fuse_named(text)
    with pytest.raises(AddressError, match=says):
        meter_setup(f"text:COM7?scale=fuse:{text}")


def test_a_recording_across_a_fuse_is_a_current_and_says_by_which_fuse(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "a.sqlite"
    capture = write_capture(tmp_path / "a.raw", ((n * 0.3, b"0.77 mV\r\n") for n in range(10)))
    address = f"replay:{capture}?decoder=text&speed=20&scale=fuse:mini-10A&label=F12"
    assert main(["record", "--meter", address, "--out", str(out), "--plain"]) == 0
    with open_reader(out) as reader:
        (channel,) = reader.channels
        assert channel.quantity is Quantity.DC_CURRENT
        assert channel.accuracy.share > 0.17
    capsys.readouterr()
    assert main(["analyze", str(out)]) == 0
    assert "scale of a fuse (mini-10A, 7.7 mohm +-15 % cold, unverified): lowest 0.1" in " ".join(
        capsys.readouterr().out.split()
    )
