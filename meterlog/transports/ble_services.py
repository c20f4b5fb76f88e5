"""Chooses the characteristics of a peripheral that carry its readings, by what they can do and not by their names."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from meterlog.errors import LinkAbsent

if TYPE_CHECKING:
    from bleak.backends.characteristic import BleakGATTCharacteristic
    from bleak.backends.service import BleakGATTService

SERIAL_SERVICES = {
    "6e400001-b5a3-f393-e0a9-e50e24dcca9e": "a two-characteristic serial service",
    "0000ffe0-0000-1000-8000-00805f9b34fb": "a one-characteristic serial service",
    "49535343-fe7d-4ae5-8fa9-9fafd205e455": "a transparent-UART service",
}
"""Families of radio modules that carry a serial line. Only a decoder can tell what is inside."""

MEASURING_SERVICES = {
    "0000181a-0000-1000-8000-00805f9b34fb": "the standard environmental sensing service",
}
"""Standard services whose characteristics the `gatt` decoder may know."""

_HOUSEKEEPING = frozenset(f"0000{short}-0000-1000-8000-00805f9b34fb" for short in ("1800", "1801", "180a", "180f"))
"""Generic access, generic attribute, device information, battery: on nearly every peripheral, never the readings."""

_NOTIFIES = {"notify", "indicate"}
_WRITES = {"write", "write-without-response"}


@dataclass(frozen=True, slots=True)
class SerialPair:
    """The characteristics that carry a serial line's bytes, in and out."""

    incoming: BleakGATTCharacteristic
    outgoing: BleakGATTCharacteristic | None


def serial_pair(services: Sequence[BleakGATTService], service: str, notify: str, write: str, port: str) -> SerialPair:
    """Choose the characteristics.

    Args:
        services: all that the peripheral offers.
        service: the wanted service's UUID in long form; empty for any.
        notify: the wanted incoming characteristic's UUID in long form; empty for any.
        write: the wanted outgoing one's; empty for any in the same service.
        port: what to call the peripheral.

    Raises:
        LinkAbsent: none fits, or several do; what there is, is listed.
    """
    inside = [s for s in services if not service or s.uuid == service]
    if service and not inside:
        raise LinkAbsent(f"{port} has no service {short(service)}; it has {_offer(services)}", port)
    found = [c for c in in_order(inside) if _fits(c, notify, _NOTIFIES)]
    if not (service or notify):
        found = _serial_first(found)
    if not found:
        wanted = f"characteristic {short(notify)} that notifies" if notify else "characteristic that notifies"
        raise LinkAbsent(f"{port} has no {wanted}; it has {_offer(services)} (decoder=gatt reads standard ones)", port)
    if len(found) > 1 and not (service or notify or found[0].service_uuid in SERIAL_SERVICES):
        raise LinkAbsent(
            f"{port} has several characteristics that notify: name one with service= and notify=;"
            f" it has {_offer(services)}",
            port,
        )
    return SerialPair(found[0], _outgoing(services, found[0], write, port))


def in_order(services: Iterable[BleakGATTService]) -> list[BleakGATTCharacteristic]:
    """All characteristics by handle, the order in which the peripheral declares them: bleak's own differs by run."""
    return sorted((c for s in services for c in s.characteristics), key=lambda c: c.handle)


def _serial_first(found: list[BleakGATTCharacteristic]) -> list[BleakGATTCharacteristic]:
    rest = [c for c in found if c.service_uuid not in _HOUSEKEEPING]
    return [c for c in rest if c.service_uuid in SERIAL_SERVICES] or rest


def _outgoing(
    services: Sequence[BleakGATTService], incoming: BleakGATTCharacteristic, write: str, port: str
) -> BleakGATTCharacteristic | None:
    beside = [s for s in services if write or s.handle == incoming.service_handle]
    found = [c for c in in_order(beside) if _fits(c, write, _WRITES)]
    if write and not found:
        raise LinkAbsent(f"{port} has no characteristic {short(write)} to write to; it has {_offer(services)}", port)
    return found[0] if found else None


def _fits(characteristic: BleakGATTCharacteristic, uuid: str, can: set[str]) -> bool:
    return (not uuid or characteristic.uuid == uuid) and bool(can & set(characteristic.properties))


def _offer(services: Sequence[BleakGATTService]) -> str:
    parts = [
        f"{short(c.service_uuid)}/{short(c.uuid)} ({', '.join(c.properties)})"
        for c in in_order(services)
        if c.service_uuid not in _HOUSEKEEPING
    ]
    return "; ".join(parts) or "none but housekeeping services"


def short(uuid: str) -> str:
    """A UUID as people write it: four digits for the standard ones, in full for the others."""
    if uuid.startswith("0000") and uuid.endswith("-0000-1000-8000-00805f9b34fb"):
        return uuid[4:8]
    return uuid
