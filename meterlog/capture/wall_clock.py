"""The wall clock of a computer that learns the time while it records, as a board without a clock of its own does."""

from __future__ import annotations

import time
from datetime import timedelta

from meterlog.session.writer import SessionWriter

LEAST_S = 2.0
"""Smallest step of the clock that counts, s: above what network time slews and what two reads are apart (a guess)."""


class WallClock:
    """Notices that the computer's clock was set while a session is recorded, and corrects when the session began."""

    def __init__(self, writer: SessionWriter) -> None:
        """Begin now."""
        self._writer = writer
        self._zero_s = self._now_zero_s()

    def _now_zero_s(self) -> float:
        """The session's time 0 by the wall clock as it stands now, s since 1970."""
        return time.time() - self._writer.elapsed_s

    def correct(self) -> str:
        """Correct the session's beginning where the clock was set since the last call; the sentence about it, or ''.

        Raises:
            SessionWriteFailed: the session cannot be written on.
        """
        step_s = self._now_zero_s() - self._zero_s
        if abs(step_s) < LEAST_S:
            return ""
        self._zero_s += step_s
        self._writer.correct_start(self._writer.started_at + timedelta(seconds=step_s))
        by = f"set {'forward' if step_s > 0 else 'back'} by {timedelta(seconds=round(abs(step_s)))}"
        self._writer.set_detail("clock", f"{by} at {self._writer.elapsed_s:.0f} s")
        return f"this computer's clock was {by}: when the session began is corrected"
