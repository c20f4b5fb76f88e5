"""The details entered about a case, `vehicle` or `system_v`: texts, some of which are used as numbers."""

from __future__ import annotations

import re
from collections.abc import Mapping

from meterlog.errors import UsageError

NUMBERS = {
    "system_v": (3.0, 1000.0),
    "temperature_c": (-60.0, 150.0),
    "battery_v": (0.0, 60.0),
    "lead_ohm": (0.0, 10.0),
    "hourly_rate": (0.0, 1e6),
}
"""Details that are used as numbers, and what they can be at all: wide, so that only a slip is refused."""

NUMBERS_BEGINNING = {"price_": (0.0, 1e7)}
"""The same for all details that begin so: `price_relay` is what a relay costs."""

_NUMBER = re.compile(r"\s*([-+]?\d+(?:[.,]\d+)?)\s*(?:[^\W\d]|°|$)")


def entered_number(details: Mapping[str, str], key: str) -> float | None:
    """A detail of a session as a number, a unit after it allowed; None where it is absent or none."""
    found = _NUMBER.match(details.get(key, ""))
    return float(found[1].replace(",", ".")) if found else None


def check_numbers(details: Mapping[str, str]) -> None:
    """Refuse a detail that is used as a number and is none: it would be passed over in silence.

    Raises:
        UsageError: it is no number, or cannot be one of a vehicle.
    """
    begun = {key: span for key in details for begins, span in NUMBERS_BEGINNING.items() if key.startswith(begins)}
    for key, (least, most) in {**NUMBERS, **begun}.items():
        number = entered_number(details, key)
        if key in details and (number is None or not least <= number <= most):
            unit = "" if key in (*begun, "hourly_rate") else " in the unit that its name ends with"
            raise UsageError(f"{key} must be a number from {least:g} to {most:g}{unit}, not '{details[key]}'")
