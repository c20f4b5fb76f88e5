"""Nulls a meter from the terminal, and keeps its zero with the saved meter."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from meterlog.address import Address
from meterlog.capture import meter_setup
from meterlog.driver import Conversion
from meterlog.driver.zero import measure_zero
from meterlog.errors import NoZero
from meterlog.settings import meter_address, read_settings, save_meter
from meterlog.text.figures import shown
from meterlog.text.safe import one_line
from meterlog.text.times import today

READY = (
    "Hold the leads together; or, for a clamp, close it around nothing, where it will be used, as it will be turned."
)


def zero_meter(text: str, ask: Callable[[str], str | None]) -> Iterator[str]:
    """Null a meter, and yield what to show the person.

    Args:
        text: the meter's address or saved name.
        ask: shows a prompt and returns what was typed; None at the end of input.

    Raises:
        NoZero: what it shows is no zero, or the person stopped.
        AddressError, DriverError, LinkError, SettingsError: it cannot be read, or not be saved.
    """
    setup = meter_setup(text)
    yield f"{one_line(setup.name)}: {READY}"
    if ask("Press Enter when it stands still: ") is None:
        raise NoZero("nothing was nulled")
    zero = measure_zero(setup.meter, Conversion.of(setup.address))
    yield f"it shows {shown(zero.value, zero.quantity.unit)} of nothing, which is taken off its {zero.quantity.words}"
    day = today().isoformat()
    name = _saved_as(text, setup.address)
    if name:
        path = save_meter(name, zero.taken_off(meter_address(name), day))
        yield f"kept with the saved meter '{name}' in {one_line(str(path))}"
        return
    address = zero.taken_off(setup.address, day)
    yield f'record with it:  meterlog record --meter "{address}"'
    yield f'keep it:  meterlog meters --save NAME "{address}"'


def _saved_as(text: str, address: Address) -> str:
    """The name of the saved meter that was typed, by its name or as its address; empty for none."""
    saved = read_settings().meters
    if ":" not in text:
        return text.strip().partition("?")[0]
    return next((name for name in saved if _bare(meter_address(name)) == _bare(address)), "")


def _bare(address: Address) -> tuple[str, str, dict[str, str]]:
    options = {key: value for key, value in address.options.items() if key != "offset"}
    return address.scheme, address.target, options
