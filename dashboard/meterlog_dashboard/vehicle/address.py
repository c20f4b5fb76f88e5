"""Says where a vehicle's history, and what is shown in it, has its address."""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple
from urllib.parse import urlencode


class Shown(NamedTuple):
    """Holds what an address asks for.

    Attributes:
        vehicle: the vehicle's name.
        at: the label of the channel; empty for what has changed most certainly.
        measure: of that channel.
    """

    vehicle: str
    at: str = ""
    measure: str = ""

    @classmethod
    def of(cls, query: Mapping[str, str]) -> Shown:
        """Read a query; what it does not name is empty."""
        return cls(*(query.get(name, "") for name in cls._fields))

    @property
    def address(self) -> str:
        """Where it is shown."""
        return f"/sessions?{urlencode({key: value for key, value in self._asdict().items() if value})}"


def events_address(vehicle: str, kind: str) -> str:
    """Return where a vehicle's events of a kind are laid over each other."""
    return f"/compare/events?{urlencode({'kind': kind, 'vehicle': vehicle})}"
