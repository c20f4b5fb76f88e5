"""A port of an emulated meter, without anything behind it."""

from __future__ import annotations


class Kept:
    """A port that keeps what is written to it."""

    name = "kept"

    def __init__(self) -> None:
        self.data = bytearray()

    def listening(self) -> bool:
        return True

    def write(self, data: bytes) -> bool:
        self.data += data
        return True

    def close(self) -> None:
        pass
