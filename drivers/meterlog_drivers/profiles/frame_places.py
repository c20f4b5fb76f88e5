"""Reads positions and values of bytes in a frames profile."""

from __future__ import annotations

from meterlog_drivers.profiles.profile_file import Table


def place_of(table: Table, key: str, length: int, default: int | None = None) -> int:
    """Read one byte's position, from 0."""
    return table.integer(key, default, 1, length) - 1


def places_of(table: Table, length: int) -> tuple[int, ...]:
    """`at`, one byte or several."""
    if isinstance(table.values.get("at"), list):
        places = table.integers("at")
        if not places or not all(1 <= p <= length for p in places):
            raise table.error(f"at must be bytes from 1 to {length}", "at")
        return tuple(p - 1 for p in places)
    return (place_of(table, "at", length),)


def value_of(table: Table, key: str) -> bytes:
    """A map's key: ASCII text, or bytes in hex after `0x`."""
    if key.startswith("0x"):
        try:
            return bytes.fromhex(key[2:])
        except ValueError:
            raise table.error(f"'{key}' is not bytes in hex: two digits a byte", key) from None
    if not key.isascii():
        raise table.error(f"'{key}' is not ASCII: write bytes in hex, \"0x..\"", key)
    return key.encode("ascii")
