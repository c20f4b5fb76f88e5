"""The readings of one channel as arrays: what the analyzer, the comparison and the plots work on."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:  # as in `session/model.py`
    import numpy as np
    from numpy.typing import NDArray


def _exact() -> NDArray[np.float32]:
    import numpy as np

    return np.zeros((), np.float32)


@dataclass(frozen=True, slots=True)
class Series:
    """The readings of one channel in time order; five arrays of the same length n.

    Attributes:
        time_s: float64, s from the session's start, never decreasing.
        value: float64, in the channel's unit; +-inf where the meter showed overload.
        resolution: float32, one count as shown, in the channel's unit; NaN where unknown.
        flags: uint16, `Flag` bits.
        time_error_s: float32, each time may be wrong by this much either way, s. A single number stands for all, and
            takes no memory; 0 when not given.
    """

    time_s: NDArray[np.float64]
    value: NDArray[np.float64]
    resolution: NDArray[np.float32]
    flags: NDArray[np.uint16]
    time_error_s: NDArray[np.float32] = field(default_factory=_exact)

    def __post_init__(self) -> None:
        if not self.time_error_s.ndim:
            import numpy as np

            object.__setattr__(self, "time_error_s", np.broadcast_to(self.time_error_s, self.time_s.shape))

    def __len__(self) -> int:
        return len(self.time_s)

    def between(self, start_s: float, end_s: float) -> Series:
        """The readings with start_s <= time_s <= end_s, as views."""
        i = int(self.time_s.searchsorted(start_s, "left"))
        j = int(self.time_s.searchsorted(end_s, "right"))
        return self[i:j]

    def __getitem__(self, part: slice | NDArray[np.bool_]) -> Series:
        return Series(
            self.time_s[part], self.value[part], self.resolution[part], self.flags[part], self.time_error_s[part]
        )
