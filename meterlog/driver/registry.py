"""The registry: finds drivers by name among the installed packages, and keeps their defects to themselves."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from importlib.metadata import EntryPoint, entry_points

from meterlog.address import Address
from meterlog.driver.contract import Driver, Meter
from meterlog.errors import (
    BrokenDriver,
    DuplicateDriver,
    MeterlogError,
    UnknownDriver,
    WrongDriverType,
    did_you_mean,
)
from meterlog.extras import missing_extra

GROUP = "meterlog.drivers"
"""The entry-point group in which packages register drivers."""
_LONGEST_SAID = 200
"""Characters of a foreign error's text that are shown (guess: a line or two)."""


@contextmanager
def driver_errors(name: str, doing: str = "failed") -> Iterator[None]:
    """Inside, whatever a driver raises beside the errors of its contract is one sentence that names the driver.

    A driver may come from anyone, and its defects must not end what has nothing to do with it.

    Raises:
        BrokenDriver: it raised something else than a `MeterlogError`.
    """
    try:
        yield
    except MeterlogError:
        raise
    except (Exception, SystemExit) as error:
        raise BrokenDriver(f"the driver '{name}' {doing}: {missing_extra(error) or _in_words(error)}") from error


def _in_words(error: BaseException) -> str:
    try:
        said = " ".join(str(error).split())
    except Exception:  # its own text is part of the defect
        said = ""
    said = f": {said}" if said else ""
    return f"{type(error).__name__}{said if len(said) <= _LONGEST_SAID else said[:_LONGEST_SAID] + '...'}"


def _registered() -> dict[str, list[EntryPoint]]:
    by_name: dict[str, list[EntryPoint]] = {}
    for point in entry_points(group=GROUP):
        same = by_name.setdefault(point.name, [])
        if all(point.value != other.value for other in same):
            same.append(point)
    return by_name


def _package(point: EntryPoint) -> str:
    return point.dist.name if point.dist is not None else point.value.partition(".")[0]


def driver_names() -> dict[str, str]:
    """The registered names with the package that provides each; imports nothing."""
    return {name: " and ".join(_package(p) for p in points) for name, points in sorted(_registered().items())}


def load_driver(name: str) -> Driver:
    """The driver of that name.

    Raises:
        UnknownDriver: none is registered; the message has the known names and the nearest.
        DuplicateDriver: two packages register it.
        BrokenDriver: its module fails to import.
        WrongDriverType: what is registered is not a driver class, or bears another name.
    """
    registered = _registered()
    points = registered.get(name)
    if not points:
        raise UnknownDriver(
            f"there is no driver '{name}'{did_you_mean(name, registered)};"
            f" installed are {', '.join(sorted(registered)) or 'none'}"
        )
    if len(points) > 1:
        raise DuplicateDriver(
            f"the driver '{name}' is provided by {' and by '.join(_package(p) for p in points)}: uninstall one of them"
        )
    point = points[0]
    with driver_errors(name, f"of {_package(point)} fails to load"):
        found = point.load()
    if not (isinstance(found, type) and issubclass(found, Driver)):
        raise WrongDriverType(
            f"what {_package(point)} registers as the driver '{name}' is not a driver class: {point.value}"
        )
    own_name = getattr(found, "name", "")
    if own_name != name:
        raise WrongDriverType(f"the driver that {_package(point)} registers as '{name}' calls itself '{own_name}'")
    with driver_errors(name, f"of {_package(point)} fails to load"):
        return found()


def open_address(text: str) -> tuple[Address, Meter]:
    """The meter behind an address as typed.

    Raises:
        AddressError, DriverError: with one plain sentence.
    """
    address = Address.parse(text)
    driver = load_driver(address.scheme)
    with driver_errors(address.scheme):
        driver.check(address)
        return address, driver.meter(address)
