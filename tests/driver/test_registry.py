"""Finding drivers: installed packages on the path, some of them broken, each told in its own clear way."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from meterlog.driver import Driver, driver_names, load_driver, open_address
from meterlog.errors import (
    AddressError,
    BrokenDriver,
    DriverError,
    DuplicateDriver,
    UnknownDriver,
    WrongDriverType,
)

Install = Callable[[str, str, str], None]

GOOD = """
from meterlog.driver import Driver
class Shunt(Driver):
    name = "shunt"
    summary = "a shunt"
    verification = "none"
    options = frozenset({"ohms"})
    def meter(self, address):
        raise NotImplementedError
"""


def test_an_outside_package_adds_a_driver(install: Install) -> None:
    install("shunt-meters", GOOD, "shunt = shunt_meters:Shunt")
    assert driver_names()["shunt"] == "shunt-meters"
    driver = load_driver("shunt")
    assert isinstance(driver, Driver)
    assert driver.name == "shunt"


def test_an_unknown_name_gets_the_known_ones_and_the_nearest() -> None:
    with pytest.raises(UnknownDriver, match=r"no driver 'status15' \(did you mean 'status14'\?\).*text"):
        load_driver("status15")
    with pytest.raises(LookupError, match="no driver 'zzzz'; installed are"):
        load_driver("zzzz")


@pytest.mark.parametrize(
    ("source", "why"),
    [
        ("import no_such_library", "No module named 'no_such_library'"),
        ("raise RuntimeError('half an update')", "half an update"),
        ("def f(:", "invalid syntax"),
        ("x = 1", "has no attribute 'Shunt'"),
    ],
    ids=["missing-library", "raises", "syntax", "no-class"],
)
def test_a_broken_driver_says_what_broke_and_whose_it_is(install: Install, source: str, why: str) -> None:
    install("shunt-meters", source, "shunt = shunt_meters:Shunt")
    with pytest.raises(BrokenDriver, match=rf"'shunt' of shunt-meters fails to load: .*{why}"):
        load_driver("shunt")


def test_a_driver_that_fails_to_load_does_not_hide_the_others(install: Install) -> None:
    install("shunt-meters", "import no_such_library", "shunt = shunt_meters:Shunt")
    assert load_driver("status14").name == "status14"
    assert "shunt" in driver_names()


def test_two_packages_with_one_name_are_refused_by_name(install: Install) -> None:
    install("shunt-meters", GOOD, "shunt = shunt_meters:Shunt")
    install("other-shunts", GOOD, "shunt = other_shunts:Shunt")
    with pytest.raises(DuplicateDriver, match=r"shunt.*provided by .*: uninstall one of them") as caught:
        load_driver("shunt")
    assert "shunt-meters" in str(caught.value)
    assert "other-shunts" in str(caught.value)
    assert driver_names()["shunt"] in ("shunt-meters and other-shunts", "other-shunts and shunt-meters")


@pytest.mark.parametrize(
    "source",
    ["def Shunt():\n    return 1", "Shunt = 7", "class Shunt:\n    name = 'shunt'", GOOD + "\nShunt = Shunt()"],
    ids=["function", "number", "another-class", "an-instance"],
)
def test_what_is_no_driver_class_is_refused(install: Install, source: str) -> None:
    install("shunt-meters", source, "shunt = shunt_meters:Shunt")
    with pytest.raises(
        WrongDriverType, match="what shunt-meters registers as the driver 'shunt' is not a driver class"
    ):
        load_driver("shunt")


def test_a_driver_under_another_name_than_its_own_is_refused(install: Install) -> None:
    install("shunt-meters", GOOD, "clamp = shunt_meters:Shunt")
    with pytest.raises(WrongDriverType, match="registers as 'clamp' calls itself 'shunt'"):
        load_driver("clamp")


def test_every_registry_error_is_a_driver_error() -> None:
    for kind in (UnknownDriver, BrokenDriver, DuplicateDriver, WrongDriverType):
        assert issubclass(kind, DriverError)


def test_every_driver_that_is_declared_loads_and_describes_itself() -> None:
    for name in driver_names():
        driver = load_driver(name)
        assert driver.name == name
        assert driver.summary
        assert driver.verification
        assert len(driver.summary) < 100


def test_an_option_that_the_driver_does_not_know_is_refused_with_the_nearest() -> None:
    with pytest.raises(AddressError, match=r"status14 has no option 'sprae' \(did you mean 'spare'\?\)"):
        open_address("status14:/dev/ttyUSB0?sprae=ignored")
    with pytest.raises(AddressError, match="spare must be one of refused, ignored, not 'eaten'"):
        open_address("status14:/dev/ttyUSB0?spare=eaten")
