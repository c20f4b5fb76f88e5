"""Remarks about what an import skipped or noticed, with counts and line numbers, so that nothing happens silently."""

from __future__ import annotations

from collections.abc import Iterable, Iterator


class Remarks:
    """Reasons, each with its count and its first line numbers."""

    SHOWN_LINES = 8

    def __init__(self) -> None:
        self._counts: dict[str, int] = {}
        self._lines: dict[str, list[int]] = {}
        self._unreadable: set[str] = set()

    def add(self, reason: str, line: int) -> None:
        """Count one line."""
        self.add_all(reason, (line,))

    def add_all(self, reason: str, lines: Iterable[int]) -> None:
        """Count several lines."""
        kept = self._lines.setdefault(reason, [])
        for line in lines:
            self._counts[reason] = self._counts.get(reason, 0) + 1
            if len(kept) < self.SHOWN_LINES:
                kept.append(line)

    def add_unreadable(self, reason: str, lines: Iterable[int]) -> None:
        """Count lines that hold something which could not be read."""
        self._unreadable.add(reason)
        self.add_all(reason, lines)

    def unreadable(self, more_than: float) -> list[str]:
        """A sentence for each reason that made so many lines unreadable."""
        most = {reason for reason in self._unreadable if self.count(reason) > more_than}
        return [self._sentence(reason) for reason in self._counts if reason in most]

    def count(self, reason: str) -> int:
        """The number of lines counted for a reason."""
        return self._counts.get(reason, 0)

    def total(self, reasons: Iterable[str]) -> int:
        """The number of lines counted for some reasons."""
        return sum(map(self.count, reasons))

    def sentences(self) -> Iterator[str]:
        """One sentence a reason, most frequent first."""
        for reason, _ in sorted(self._counts.items(), key=lambda item: -item[1]):
            yield self._sentence(reason)

    def _sentence(self, reason: str) -> str:
        count, lines = self._counts[reason], self._lines[reason]
        more = ", ..." if count > len(lines) else ""
        return f"{reason}: {count} (line{'s' if count > 1 else ''} {', '.join(map(str, lines))}{more})"
