"""Says beside a result what is to be known of the sessions it rests on: a hard end, damage."""

from __future__ import annotations

import sys
from collections.abc import Iterable

from meterlog.text.safe import one_line


def print_notes(notes: Iterable[str]) -> None:
    """Print each sentence on standard error, once."""
    for note in dict.fromkeys(notes):
        print(f"note: {one_line(note)}", file=sys.stderr)
