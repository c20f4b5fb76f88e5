"""A simulated Bluetooth peripheral: what it is, and the D-Bus objects that the Linux Bluetooth service shows of it.

Interfaces and properties are those of the BlueZ D-Bus API (org.bluez.Device, .GattService, .GattCharacteristic and
.GattDescriptor documents).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from bleak.uuids import normalize_uuid_str
from dbus_fast import Variant

DEVICE = "org.bluez.Device1"
SERVICE, CHARACTERISTIC = "org.bluez.GattService1", "org.bluez.GattCharacteristic1"
DESCRIPTOR = "org.bluez.GattDescriptor1"


@dataclass
class Characteristic:
    """One characteristic of a peripheral.

    Attributes:
        uuid: short or long form.
        flags: as BlueZ spells them: read, write, write-without-response, notify, indicate.
        descriptors: values by descriptor UUID.
        value: what a read gives.
    """

    uuid: str
    flags: Sequence[str] = ("notify",)
    descriptors: Mapping[str, bytes] = field(default_factory=dict)
    value: bytes = b""


@dataclass
class SimulatedPeripheral:
    """A simulated BLE meter.

    Attributes:
        address: its Bluetooth address.
        services: characteristics by service UUID, short or long form.
        name: what it advertises; empty for none.
        advertised: the service UUIDs in its advertisements; all of `services` when None.
        on_write: called with the UUID and the bytes of each write; what it returns is notified.
        in_reach: False and it neither advertises nor answers.
        silent: True and its link stays up, but nothing that `SimulatedBluez.stream` has for it comes over.
        refuses: D-Bus error name and text by method name (`Connect`, `StartNotify`, `WriteValue`, `ReadValue`).
        rssi_dbm: signal strength that the adapter reports.
    """

    address: str
    services: Mapping[str, Sequence[Characteristic]]
    name: str = ""
    advertised: Sequence[str] | None = None
    on_write: Callable[[str, bytes], bytes | None] | None = None
    in_reach: bool = True
    silent: bool = False
    refuses: dict[str, tuple[str, str]] = field(default_factory=dict)
    rssi_dbm: int = -60


def device_properties(path: str, peripheral: SimulatedPeripheral) -> dict[str, Variant]:
    """The properties of a peripheral's `DEVICE` object at a path."""
    advertised = peripheral.services if peripheral.advertised is None else peripheral.advertised
    values = {
        "Address": Variant("s", peripheral.address.upper()),
        "Alias": Variant("s", peripheral.name or peripheral.address.upper().replace(":", "-")),
        "Adapter": Variant("o", path.rpartition("/")[0]),
        "Paired": Variant("b", False),
        "Connected": Variant("b", False),
        "ServicesResolved": Variant("b", False),
        "UUIDs": Variant("as", [normalize_uuid_str(uuid) for uuid in advertised]),
        "RSSI": Variant("n", peripheral.rssi_dbm),
    }
    if peripheral.name:
        values["Name"] = Variant("s", peripheral.name)
    return values


def gatt_objects(path: str, peripheral: SimulatedPeripheral) -> Iterator[tuple[str, str, dict[str, Variant]]]:
    """Object path, interface and properties of all services, characteristics and descriptors, in handle order."""
    handle = 0
    for service_uuid, characteristics in peripheral.services.items():
        handle += 1
        at = f"{path}/service{handle:04x}"
        service = {"UUID": normalize_uuid_str(service_uuid)}
        yield (
            at,
            SERVICE,
            {"UUID": Variant("s", service["UUID"]), "Primary": Variant("b", True), "Device": Variant("o", path)},
        )
        for characteristic in characteristics:
            handle += 1
            below = f"{at}/char{handle:04x}"
            yield (
                below,
                CHARACTERISTIC,
                {
                    "UUID": Variant("s", normalize_uuid_str(characteristic.uuid)),
                    "Service": Variant("o", at),
                    "Flags": Variant("as", list(characteristic.flags)),
                    "Value": Variant("ay", characteristic.value),
                },
            )
            for uuid, value in characteristic.descriptors.items():
                handle += 1
                yield (
                    f"{below}/desc{handle:04x}",
                    DESCRIPTOR,
                    {
                        "UUID": Variant("s", normalize_uuid_str(uuid)),
                        "Characteristic": Variant("o", below),
                        "Value": Variant("ay", value),
                    },
                )
