"""Names that people typed, of vehicles and channels."""

from __future__ import annotations


def same_name(text: str) -> str:
    """Return what two spellings of one name share: capitals and spaces do not count."""
    return " ".join(text.split()).casefold()
