"""A line of text that is typed key by key: what ends it, and what each other key makes of it."""

from __future__ import annotations

ENTER, ESCAPE, ERASE, END_OF_INPUT = "\r\n", "\x1b", "\x7f\b", "\x04"


def ends(key: str) -> bool:
    """Tell whether a key ends the line."""
    return key in ENTER or key == END_OF_INPUT


def edited(text: str, key: str) -> str | None:
    """Return the line after a key that does not end it; None where the key throws it away."""
    if key == ESCAPE:
        return None
    if key in ERASE:
        return text[:-1]
    return text + key if key.isprintable() else text
