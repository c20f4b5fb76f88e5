"""What a view is: a part of the page with an address of its own."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Protocol

from dash import Dash
from dash.development.base_component import Component

from meterlog_dashboard.library import Library


@dataclass(frozen=True, slots=True)
class Shop:
    """What every view works with.

    Attributes:
        library: the folder of sessions.
    """

    library: Library


class View(Protocol):
    """One module a view; the module itself is the object.

    Attributes:
        PATH: the first part of its address, `/record`.
        TITLE: its name in the navigation.
    """

    PATH: str
    TITLE: str

    def layout(self, shop: Shop, rest: str, query: Mapping[str, str]) -> Component:
        """What to show for `PATH/rest?query`."""
        ...

    def register(self, app: Dash, shop: Shop) -> Any:
        """Add its callbacks."""
        ...


def attributes(**named: str) -> dict[str, Any]:
    """Attributes such as `data-name` and `aria-label`, which are no names in Python: `data_name=...`."""
    return {name.replace("_", "-"): value for name, value in named.items()}
