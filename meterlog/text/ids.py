"""Ids of a circuit file, `plug_feed`, as a person reads them."""

from __future__ import annotations


def plain(text: str) -> str:
    """Return an id, or a sentence with ids in it, in words: `voltage at plug feed`."""
    return text.replace("_", " ")
