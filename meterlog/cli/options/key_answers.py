"""Takes `KEY=ANSWER` words apart: what was seen or heard, for `diagnose --look` and `job look` alike."""

from __future__ import annotations

from collections.abc import Iterable

from meterlog.errors import UsageError


def key_answers(words: Iterable[str], example: str) -> list[tuple[str, str]]:
    """Return each key with its answer, in the order they were typed.

    Args:
        words: as typed.
        example: ends the sentence of an error, for example `relay_clicks=no`.

    Raises:
        UsageError: a word has no `=`, or nothing after it.
    """
    found = []
    for word in words:
        key, _, answer = (piece.strip() for piece in word.partition("="))
        if not answer:
            raise UsageError(f"'{word}' is not KEY=ANSWER, for example {example}")
        found.append((key, answer))
    return found
