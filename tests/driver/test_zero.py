"""Leads and clamps are nulled: what the meter shows of nothing is taken off, kept with the saved meter, and said."""

from __future__ import annotations

import json
from datetime import datetime
from pathlib import Path

import pytest

from meterlog.address import Address
from meterlog.capture.meters import meter_setup
from meterlog.cli.main import main
from meterlog.driver import Conversion
from meterlog.driver.zero import zero_of
from meterlog.errors import NoZero
from meterlog.reading import Flag, Quantity, Reading
from meterlog.session import open_reader
from tests.conftest import write_capture

Q = Quantity
CLAMP = Conversion.of(Address.parse("text:x?scale=100A/V&offset=-9A"))


def readings(*values: float, quantity: Quantity = Q.DC_VOLTAGE, count: float = 1e-5) -> list[Reading]:
    return [Reading(n * 0.3, value, quantity, count) for n, value in enumerate(values)]


def test_a_clamps_zero_is_in_amperes_whatever_offset_it_had() -> None:
    zero = zero_of(readings(0.0021, 0.00212, 0.00208), CLAMP)
    assert zero.value == pytest.approx(0.21)
    assert zero.quantity is Q.DC_CURRENT
    address = zero.taken_off(Address.parse("text:x?scale=100A/V&offset=-9A;-0.3ohm"), "2026-11-28")
    assert address.options["offset"] == "-0.21A@2026-11-28;-0.3ohm"
    conversion = Conversion.of(address)
    assert conversion is not None
    assert conversion(readings(0.0021)[0]).value == 0.0
    assert conversion.words(Q.DC_CURRENT) == "scale 100A/V, offset -0.21 A (nulled on 2026-11-28)"
    assert conversion.words(Q.RESISTANCE) == "offset -0.3 ohm"
    assert conversion.words(Q.AC_VOLTAGE) == ""


def test_nulled_leads_count_as_nulled_by_the_meter() -> None:
    conversion = Conversion.of(Address.parse("text:x?offset=-0.31ohm@2026-11-28"))
    assert conversion is not None
    meant = conversion(readings(1.11, quantity=Q.RESISTANCE, count=0.01)[0])
    assert (meant.value, meant.flags & Flag.RELATIVE) == (0.8, Flag.RELATIVE)


@pytest.mark.parametrize(
    ("shown", "says"),
    [
        (readings(12.4, 12.4), "too much for a zero"),
        (readings(0.001, 0.002), "the readings move from 1 mV to 2 mV"),
        (readings(float("inf"), quantity=Q.RESISTANCE), "an overload"),
        (readings(0.001, quantity=Q.AC_VOLTAGE), "AC voltage, which has no zero"),
        ([*readings(0.001), *readings(0.001, quantity=Q.RESISTANCE)], "the dial was turned"),
        (readings(2.4, quantity=Q.RESISTANCE), "hold the leads together"),
        (readings(0.001, 0.03, count=float("nan")), "the readings move"),
    ],
)
def test_what_is_no_zero_is_refused(shown: list[Reading], says: str) -> None:
    with pytest.raises(NoZero, match=says):
        zero_of(shown)


@pytest.fixture
def capture(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A capture of a clamp around nothing; Enter is pressed by itself."""
    monkeypatch.setenv("METERLOG_SETTINGS", str(tmp_path / "settings.toml"))
    monkeypatch.setattr("builtins.input", lambda _: "")
    lines = ((n * 0.3, f"{0.52 + n % 2 / 100:.2f} mV\r\n".encode()) for n in range(12))
    return write_capture(tmp_path / "a.raw", lines)


def test_a_saved_clamp_is_nulled_and_its_sessions_say_so(
    capture: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    today, out = datetime.now().astimezone().date().isoformat(), tmp_path / "a.sqlite"
    address = f"replay:{capture}?decoder=text&speed=20&scale=100A/V&accuracy=2pct"
    assert main(["meters", "--save", "clamp", address]) == 0
    assert main(["meters", "--zero", "clamp?label=feed"]) == 0
    said = capsys.readouterr().out
    assert "it shows 52.5 mA of nothing" in said.replace("0.0525 A", "52.5 mA")
    assert "kept with the saved meter 'clamp'" in said
    assert main(["record", "--meter", "clamp?label=feed", "--out", str(out), "--plain"]) == 0
    assert "was nulled on" not in capsys.readouterr().out, "it was nulled today"
    with open_reader(out) as reader:
        assert {round(value, 6) for value in reader.series(1).value} == {-0.0005, 0.0005}
        assert reader.details["conversion_1"] == f"scale 100A/V, offset -0.0525 A (nulled on {today})"
    assert main(["analyze", str(out)]) == 0
    assert f"offset -0.0525 A (nulled on {today})" in " ".join(capsys.readouterr().out.split())
    assert main(["analyze", "--json", str(out)]) == 0
    (channel,) = json.loads(capsys.readouterr().out)["channels"]
    assert channel["converted"] == f"scale 100A/V, offset -0.0525 A (nulled on {today})"
    assert main(["details", str(out)]) == 0
    said = capsys.readouterr().out
    assert said.count("scale 100A/V") == 1, "with the channel, and not among the details as well"


def test_a_meter_that_is_not_saved_gets_the_address_to_type(capture: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["meters", "--zero", f"replay:{capture}?decoder=text&speed=20"]) == 0
    said = capsys.readouterr().out
    assert "offset=-0.000525V@" in said
    assert "meterlog meters --save NAME" in said


def test_who_stops_nulls_nothing(
    capture: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def ends(_: str) -> str:
        raise EOFError

    monkeypatch.setattr("builtins.input", ends)
    assert main(["meters", "--zero", f"replay:{capture}?decoder=text"]) == 2
    assert capsys.readouterr().err.count("nothing was nulled") == 1


def test_a_zero_of_another_day_is_said_at_the_start() -> None:
    assert (
        "was nulled on 2020-01-02: leads, and clamps above all, drift"
        in meter_setup("text:COM7?offset=-20mA@2020-01-02").old_zero
    )
    assert not meter_setup("text:COM7?offset=-20mA").old_zero
