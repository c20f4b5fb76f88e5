"""What the commands print passes here: labels, markers, file names and a meter's answers may hold escape sequences."""

from __future__ import annotations

from typing import Any, TextIO

from meterlog.plain_text import in_lines


class PlainOutput:
    """A text stream through which no control character comes but line ends and tabs."""

    def __init__(self, stream: TextIO) -> None:
        """Write to that stream.

        Attributes:
            raw: the stream itself, for what draws on the terminal and escapes its texts with `one_line`.
        """
        self.raw = stream

    def write(self, text: str) -> int:
        """Write what can be shown of it."""
        self.raw.write(in_lines(text))
        return len(text)

    def writelines(self, lines: list[str]) -> None:
        """Write each."""
        for line in lines:
            self.write(line)

    def __getattr__(self, name: str) -> Any:
        """All else is the stream's own."""
        return getattr(self.raw, name)
