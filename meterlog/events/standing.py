"""Says what a circuit does now, by the same machines and thresholds that find its events: a state is no event."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, Protocol, runtime_checkable

Does = Literal["on", "off", "sagging", "high", "flowing", "interrupted", "closed", "open", "untouched"]
"""`untouched`: probes on ohms that have not touched anything yet."""


@dataclass(frozen=True, slots=True)
class Standing:
    """The present state of a channel's circuit.

    Attributes:
        does: what it does.
        since_s: since when, s from the session's start; None where that was not seen.
        usual: what it stood at before, V, A or ohm; None where that is not known.
        unwanted: nobody wanted that: a supply that was on for longer than a prime and was not switched off by a marker.
    """

    does: Does
    since_s: float | None = None
    usual: float | None = None
    unwanted: bool = False


@runtime_checkable
class Stands(Protocol):
    """A machine that knows what the circuit does now."""

    @property
    def standing(self) -> Standing | None:
        """Return the state after the last reading; None before it is known."""
        ...
