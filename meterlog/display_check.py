"""The note in a session that a channel's meter was compared with its display: written when the channel begins."""

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
