"""Errors of Bluetooth, one plain sentence each: the one place where bleak's exceptions are mapped."""

from __future__ import annotations

from meterlog.errors import LinkAbsent, LinkBusy, LinkError, LinkForbidden, LinkLost

ELSEWHERE = "is it on, in reach, its Bluetooth switched on, and is another program or phone connected to it?"

_UNAVAILABLE: dict[str, tuple[type[LinkError], str]] = {
    "NO_BLUETOOTH": (LinkAbsent, "this computer has no Bluetooth adapter that the system knows: plug one in"),
    "NO_BLE_CENTRAL_ROLE": (LinkAbsent, "the Bluetooth adapter cannot do Bluetooth Low Energy: another one is needed"),
    "POWERED_OFF": (
        LinkAbsent,
        "Bluetooth is off: switch it on (on Linux 'bluetoothctl power on', or 'rfkill unblock bluetooth')",
    ),
    "DENIED_BY_USER": (
        LinkForbidden,
        "Bluetooth is not allowed for this program: allow it in the system's privacy settings",
    ),
    "DENIED_BY_SYSTEM": (
        LinkForbidden,
        "the system does not let this program use Bluetooth: check its privacy settings or policy",
    ),
    "DENIED_BY_UNKNOWN": (
        LinkForbidden,
        "the system does not let this program use Bluetooth: check its privacy settings or policy",
    ),
    "UNKNOWN": (LinkAbsent, "Bluetooth is not available, and the system does not say why"),
}
"""By the name of bleak's `BleakBluetoothNotAvailableReason`."""

_OFF = _UNAVAILABLE["POWERED_OFF"]
_NO_SERVICE = (
    LinkAbsent,
    "the system's Bluetooth service (bluetoothd) is not running: start it with 'sudo systemctl start bluetooth'",
)
_DENIED = (
    LinkForbidden,
    "the system refuses access to Bluetooth: on Linux the user may have to be in the group 'bluetooth'",
)
_UNPAIRED = (LinkForbidden, "{port} refuses without pairing: pair it in the system's Bluetooth settings first")
_NO_ANSWER = (LinkAbsent, "{port} does not answer: " + ELSEWHERE)
_BY_DBUS_NAME: dict[str, tuple[type[LinkError], str]] = {
    "org.freedesktop.DBus.Error.ServiceUnknown": _NO_SERVICE,
    "org.freedesktop.DBus.Error.NameHasNoOwner": _NO_SERVICE,
    "org.freedesktop.DBus.Error.Spawn.ServiceNotFound": _NO_SERVICE,
    "org.freedesktop.DBus.Error.Disconnected": _NO_SERVICE,
    "org.freedesktop.DBus.Error.AccessDenied": _DENIED,
    "org.freedesktop.DBus.Error.NoReply": (LinkLost, "the Bluetooth service did not answer in time"),
    "org.freedesktop.DBus.Error.UnknownObject": (LinkLost, "{port} is gone from the Bluetooth service"),
    "org.freedesktop.DBus.Error.UnknownMethod": (LinkLost, "{port} is gone from the Bluetooth service"),
    "org.bluez.Error.NotReady": _OFF,
    "org.bluez.Error.InProgress": (LinkBusy, "the Bluetooth adapter is busy with {port} for another program"),
    "org.bluez.Error.NotConnected": (LinkLost, "the link to {port} is down"),
    "org.bluez.Error.NotAuthorized": _UNPAIRED,
    "org.bluez.Error.NotPermitted": _UNPAIRED,
    "org.bluez.Error.AuthenticationFailed": _UNPAIRED,
    "org.bluez.Error.AuthenticationCanceled": _UNPAIRED,
    "org.bluez.Error.AuthenticationRejected": _UNPAIRED,
    "org.bluez.Error.AuthenticationTimeout": _UNPAIRED,
    "org.bluez.Error.NotSupported": (LinkForbidden, "{port} does not offer that"),
    "org.bluez.Error.Failed": _NO_ANSWER,
    "org.bluez.Error.ConnectionAttemptFailed": _NO_ANSWER,
}
"""By D-Bus error name; the names are from the D-Bus specification and the BlueZ D-Bus API's documents."""

_PAIRING_CODES = frozenset({0x05, 0x08, 0x0C, 0x0F})
"""ATT errors that pairing cures: insufficient authentication, authorization, key size, encryption (Bluetooth Core
Specification, Vol 3, Part F, 3.4.1.1)."""


def link_error(error: BaseException, port: str) -> LinkError:
    """The user's sentence for anything that bleak, D-Bus or the system raised.

    Args:
        error: what was raised.
        port: the peripheral as the user wrote it.

    Returns:
        The error to raise; a `LinkError` as it is.
    """
    if isinstance(error, LinkError):
        return error
    kind, sentence = _sentence(error)
    return kind(sentence.format(port=port), port)


def _sentence(error: BaseException) -> tuple[type[LinkError], str]:
    from bleak import exc

    match error:
        case exc.BleakBluetoothNotAvailableError():
            return _UNAVAILABLE[error.reason.name]
        case exc.BleakDeviceNotFoundError():
            return LinkAbsent, "{port} was not found: " + ELSEWHERE
        case exc.BleakCharacteristicNotFoundError():
            return LinkAbsent, f"{{port}} has no characteristic {error.char_specifier}"
        case exc.BleakGATTProtocolError() if error.code in _PAIRING_CODES:
            return _UNPAIRED
        case exc.BleakGATTProtocolError():
            return LinkForbidden, f"{{port}} refused ({_braced(error.args[1])})"
        case exc.BleakDBusError() if error.dbus_error in _BY_DBUS_NAME:
            return _BY_DBUS_NAME[error.dbus_error]
        case exc.BleakError():
            return _plain(_braced(error))
        case TimeoutError():
            return _NO_ANSWER
        case FileNotFoundError() | ConnectionRefusedError():
            return LinkAbsent, "the system's message bus (D-Bus), through which Linux reaches Bluetooth, is not running"
        case PermissionError():
            return _DENIED
        case EOFError() | OSError():
            return LinkLost, f"the link to {{port}} is down ({_braced(error)})"
    return LinkLost, f"Bluetooth failed with {{port}}: {type(error).__name__} {_braced(error)}".rstrip()


def _plain(text: str) -> tuple[type[LinkError], str]:
    """For exceptions that bleak tells apart by their words only."""
    if text.startswith("adapter '"):
        return LinkAbsent, f"the Bluetooth {text}: 'meterlog meters' works without one named"
    if "disconnected" in text or "Not connected" in text:
        return LinkLost, "{port} dropped the link"
    return LinkLost, f"Bluetooth failed with {{port}}: {text}"


def _braced(text: object) -> str:
    return str(text).replace("{", "{{").replace("}", "}}")
