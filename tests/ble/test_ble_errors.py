"""Every exception that bleak, D-Bus or the system can raise becomes one plain sentence."""

from __future__ import annotations

import inspect

import pytest
from bleak import exc

from meterlog.errors import LinkAbsent, LinkBusy, LinkError, LinkForbidden, LinkLost
from meterlog.transports.ble_errors import link_error

PORT = "00:00:5E:00:53:01"


def bleak_exceptions() -> list[type[exc.BleakError]]:
    """All exception classes of bleak."""
    return [found for _, found in inspect.getmembers(exc, inspect.isclass) if issubclass(found, exc.BleakError)]


def an_instance(kind: type[exc.BleakError]) -> exc.BleakError:
    """One exception of a class."""
    examples: dict[type[exc.BleakError], exc.BleakError] = {
        exc.BleakBluetoothNotAvailableError: exc.BleakBluetoothNotAvailableError(
            "off", exc.BleakBluetoothNotAvailableReason.POWERED_OFF
        ),
        exc.BleakDBusError: exc.BleakDBusError("org.example.Error.New", ["a {strange} text"]),
        exc.BleakGATTProtocolError: exc.BleakGATTProtocolError(0x80),
        exc.BleakDeviceNotFoundError: exc.BleakDeviceNotFoundError(PORT),
        exc.BleakCharacteristicNotFoundError: exc.BleakCharacteristicNotFoundError("fff1"),
    }
    return examples.get(kind) or kind("a {strange} text")


@pytest.mark.parametrize("kind", bleak_exceptions(), ids=lambda kind: kind.__name__)
def test_every_exception_of_bleak_has_its_sentence(kind: type[exc.BleakError]) -> None:
    error = link_error(an_instance(kind), PORT)
    assert isinstance(error, LinkError)
    assert "{port}" not in str(error)
    assert len(str(error)) > 15
    assert error.port == PORT


def test_every_reason_for_no_bluetooth_has_its_own_sentence() -> None:
    said = {
        reason: str(link_error(exc.BleakBluetoothNotAvailableError("", reason), PORT))
        for reason in exc.BleakBluetoothNotAvailableReason
        if not reason.name.startswith("DENIED_BY_UNKNOWN")
    }
    assert len(set(said.values())) == len(said)
    assert "off" in said[exc.BleakBluetoothNotAvailableReason.POWERED_OFF]


@pytest.mark.parametrize(
    ("error", "kind", "words"),
    [
        (exc.BleakDBusError("org.freedesktop.DBus.Error.ServiceUnknown", ["x"]), LinkAbsent, "bluetoothd"),
        (exc.BleakDBusError("org.freedesktop.DBus.Error.AccessDenied", ["x"]), LinkForbidden, "group 'bluetooth'"),
        (exc.BleakDBusError("org.bluez.Error.NotReady", ["x"]), LinkAbsent, "Bluetooth is off"),
        (exc.BleakDBusError("org.bluez.Error.InProgress", ["x"]), LinkBusy, "busy"),
        (exc.BleakDBusError("org.bluez.Error.Failed", ["x"]), LinkAbsent, "another program or phone"),
        (exc.BleakGATTProtocolError(0x05), LinkForbidden, "pair it"),
        (exc.BleakGATTProtocolError(0x03), LinkForbidden, "Write Not Permitted"),
        (exc.BleakDeviceNotFoundError(PORT), LinkAbsent, "another program or phone"),
        (exc.BleakError("Not connected"), LinkLost, "dropped the link"),
        (exc.BleakError("failed to discover services, device disconnected"), LinkLost, "dropped the link"),
        (exc.BleakError("adapter 'hci9' not found"), LinkAbsent, "hci9"),
        (TimeoutError(), LinkAbsent, "does not answer"),
        (FileNotFoundError(2, "No such file"), LinkAbsent, "message bus"),
        (ConnectionRefusedError(111, "refused"), LinkAbsent, "message bus"),
        (PermissionError(13, "denied"), LinkForbidden, "refuses access"),
        (EOFError(), LinkLost, "down"),
        (OSError(5, "I/O error"), LinkLost, "down"),
        (AssertionError(), LinkLost, "AssertionError"),
    ],
)
def test_what_a_person_can_do_is_in_the_sentence(error: Exception, kind: type[LinkError], words: str) -> None:
    mapped = link_error(error, PORT)
    assert type(mapped) is kind
    assert words in str(mapped)


def test_a_link_error_stays_as_it_is() -> None:
    error = LinkBusy("busy", PORT)
    assert link_error(error, "other") is error
