"""The readings of one channel as arrays: what the analyzer, the comparison and the plots work on."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:  # as in `session/model.py`
    import numpy as np
    from numpy.typing import NDArray


@dataclass(frozen=True, slots=True)
class Series:
    """The readings of one channel in time order; four arrays of the same length n.

    Attributes:
        time_s: float64, s from the session's start, never decreasing.
        value: float64, in the channel's unit; +-inf where the meter showed overload.
        resolution: float32, one count as shown, in the channel's unit; NaN where unknown.
        flags: uint16, `Flag` bits.
    """

    time_s: NDArray[np.float64]
    value: NDArray[np.float64]
    resolution: NDArray[np.float32]
    flags: NDArray[np.uint16]

    def __len__(self) -> int:
        return len(self.time_s)

    def between(self, start_s: float, end_s: float) -> Series:
        """The readings with start_s <= time_s <= end_s, as views."""
        i = int(self.time_s.searchsorted(start_s, "left"))
        j = int(self.time_s.searchsorted(end_s, "right"))
        return self[i:j]

    def __getitem__(self, part: slice) -> Series:
        return Series(self.time_s[part], self.value[part], self.resolution[part], self.flags[part])
