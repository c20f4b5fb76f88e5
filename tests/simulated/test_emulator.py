"""Checks that what the emulator sends, each driver's own decoder reads back as what was shown."""

from __future__ import annotations

import io

import pytest

from meterlog.address import Address
from meterlog.driver import load_driver
from meterlog.driver.framing import FramingDriver
from meterlog.errors import UsageError
from meterlog.reading import Quantity, Reading
from meterlog_drivers.simulated.emulate import told
from meterlog_drivers.simulated.emulation.emulator import Emulator, Outlet, shows_columns
from meterlog_drivers.simulated.scenarios import SCENARIOS
from tests.simulated.kept_port import Kept

DRIVERS = ("status14", "text", "segments14", "digits11", "digits14", "chars16", "five11", "bcd17")


def played(name: str, driver: str) -> tuple[list[Reading], list[float]]:
    """The readings decoded from what the emulator sent, and the values that it says it showed."""
    framing, address = load_driver(driver), told(Address(driver, "kept"))  # the address that 'emulate' says to type
    assert isinstance(framing, FramingDriver)
    run = SCENARIOS[name].run(7)
    port, shown = Kept(), io.StringIO()
    Emulator(run, framing.encoder(address), [Outlet(port, (0,))], 1000.0, shown).play(laps=1)
    readings = framing.decoder(address, 0.0).feed(bytes(port.data), 0.0)
    return readings, [float(line.split(",")[2]) for line in shown.getvalue().splitlines()[1:]]


@pytest.mark.parametrize("driver", DRIVERS)
@pytest.mark.parametrize("name", ["healthy-prime", "wiggle-step"])
def test_every_framing_shows_volts_and_ohms(name: str, driver: str) -> None:
    readings, shown = played(name, driver)
    run = SCENARIOS[name].run(7)
    assert [r.value for r in readings] == shown
    assert [r.value for r in readings] == pytest.approx(run.readings[0].value.tolist(), abs=0.1)
    assert {r.quantity for r in readings} == {run.quantity(0)}


@pytest.mark.parametrize("driver", ["digits11", "five11", "bcd17"])
def test_what_only_a_person_can_tell_is_in_the_address_that_is_printed(driver: str) -> None:
    readings, shown = played("parasitic-draw", driver)
    assert [r.value for r in readings] == shown
    assert {r.quantity for r in readings} == {Quantity.DC_CURRENT}


@pytest.mark.parametrize("driver", [d for d in DRIVERS if d != "chars16"])
def test_overload_on_ohms_arrives_as_overload(driver: str) -> None:
    readings, shown = played("wiggle-open", driver)
    assert [r.value for r in readings] == shown
    assert sum(r.value == float("inf") for r in readings) >= 4


@pytest.mark.parametrize("driver", ["status14", "segments14", "digits11", "digits14"])
def test_hold_and_the_low_battery_are_shown_where_the_framing_has_symbols(driver: str) -> None:
    readings, _ = played("meter-trouble", driver)
    assert any(r.flags.LOW_BATTERY in r.flags for r in readings)


def test_a_framing_without_a_way_to_say_it_is_refused_before_anything_is_sent() -> None:
    with pytest.raises(UsageError, match="cannot show an overload of resistance"):
        played("wiggle-open", "chars16")


def test_columns_are_used_where_the_framing_has_them() -> None:
    text, status14 = load_driver("text"), load_driver("status14")
    assert isinstance(text, FramingDriver)
    assert isinstance(status14, FramingDriver)
    run = SCENARIOS["drop-test"].run(7, together=True)
    assert shows_columns(text.encoder(Address("text", "x", {"profile": "columns"})), run)
    assert not shows_columns(status14.encoder(Address("status14", "x")), run)
