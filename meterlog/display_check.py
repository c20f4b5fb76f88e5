"""The notes in a session about a channel's meter, written when the channel begins: that it was compared with its
display, what was done to its readings before they were kept, and the fixed part of its accuracy.
"""

from __future__ import annotations

from collections.abc import Mapping


def check_key(channel: int) -> str:
    """Return the detail that holds a channel's note."""
    return f"display_check_{channel}"


def noted_check(details: Mapping[str, str], channel: int) -> str:
    """Return a channel's note, as `check_words` writes it; empty where its meter was never compared."""
    return details.get(check_key(channel), "")


def check_words(day: str, readings: int) -> str:
    """Say that a meter was compared with its display."""
    return f"checked against the display on {day}, {readings} readings"


def conversion_key(channel: int) -> str:
    """Return the detail that holds what was done to a channel's readings."""
    return f"conversion_{channel}"


def noted_conversion(details: Mapping[str, str], channel: int) -> str:
    """Return what was done to a channel's readings: scale, sign, offset; empty for nothing."""
    return details.get(conversion_key(channel), "")


def fixed_error_key(channel: int) -> str:
    """Return the detail that holds the fixed part of a channel's accuracy, in the channel's unit."""
    return f"fixed_error_{channel}"


def noted_fixed_error(details: Mapping[str, str], channel: int) -> float:
    """Return the fixed part of a channel's accuracy, in its unit; 0 for none.

    Raises:
        ValueError: the note is no number.
    """
    return float(details.get(fixed_error_key(channel), "0"))
