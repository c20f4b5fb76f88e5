"""The relay: when the contact is closed, given the voltage on the coil."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, slots=True)
class Relay:
    """A 12 V automotive relay. Contact bounce (below a millisecond) is left out: no meter shows it.

    Attributes:
        pull_in_v: coil voltage at which it operates, V (at or below 7.0-7.2, grade A).
        drop_out_v: coil voltage below which it releases, V (0.5-1.2, grade A).
        operate_s: from coil to contact, s (3-10 ms, grade A).
        release_s: s (2-10 ms, grade A).
    """

    pull_in_v: float = 7.0
    drop_out_v: float = 0.9
    operate_s: float = 0.006
    release_s: float = 0.004

    def contact(self, coil_v: NDArray[np.float64], step_s: float) -> NDArray[np.bool_]:
        """Work out whether the contact is closed in each step.

        Args:
            coil_v: V, shape (n,).
            step_s: s.

        Returns:
            Shape (n,).
        """
        n = len(coil_v)
        wants = np.full(n, -1, dtype=np.int8)
        wants[coil_v >= self.pull_in_v] = 1
        wants[coil_v < self.drop_out_v] = 0
        if n and wants[0] == -1:
            wants[0] = 0
        decided = np.maximum.accumulate(np.where(wants >= 0, np.arange(n), 0))
        pulled = wants[decided] == 1
        edges = np.flatnonzero(np.diff(pulled.astype(np.int8), prepend=0, append=0))
        operate, release = round(self.operate_s / step_s), round(self.release_s / step_s)
        closed = np.zeros(n, dtype=bool)
        for begin, end in _without_short_gaps(edges.reshape(-1, 2), release):
            if end - begin >= operate:
                closed[begin + operate : end + release] = True
        return closed


def _without_short_gaps(spans: NDArray[np.int64], least: int) -> list[tuple[int, int]]:
    """Join spans that are parted by less than `least` steps: the contact does not follow so short an interruption."""
    joined: list[tuple[int, int]] = []
    for begin, end in spans.tolist():
        if joined and begin - joined[-1][1] < least:
            joined[-1] = (joined[-1][0], end)
        else:
            joined.append((begin, end))
    return joined
