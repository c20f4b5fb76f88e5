"""Says what a job cost so far: parts and minutes of work, as they were entered."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from meterlog.job.job import Step

_MINUTES_AN_HOUR = 60.0


@dataclass(frozen=True, slots=True)
class Bill:
    """A sum; None where nobody said.

    Attributes:
        parts: prices of all parts.
        minutes: of all work.
        hourly_rate: price of an hour.
        currency: follows each price; empty for none.
    """

    parts: float | None
    minutes: float | None
    hourly_rate: float | None
    currency: str

    @property
    def work(self) -> float | None:
        """The price of the minutes; None where one of both is not known."""
        if self.minutes is None or self.hourly_rate is None:
            return None
        return self.minutes / _MINUTES_AN_HOUR * self.hourly_rate

    def money(self, price: float) -> str:
        """A price in words, `12.50 EUR`."""
        return f"{price:.2f} {self.currency}".rstrip()

    @property
    def words(self) -> str:
        """All of it, `parts 12.50 EUR, 30 min of work at 80.00 EUR an hour 40.00 EUR, together 52.50 EUR`."""
        said = [f"parts {self.money(self.parts)}"] if self.parts is not None else []
        if self.minutes is not None:
            said.append(f"{self.minutes:g} min of work")
        if self.work is not None and self.hourly_rate is not None:
            said[-1] += f" at {self.money(self.hourly_rate)} an hour {self.money(self.work)}"
            if self.parts is not None:
                said.append(f"together {self.money(self.parts + self.work)}")
        return ", ".join(said)


def bill(repairs: Sequence[Step], *, hourly_rate: float | None = None, currency: str = "") -> Bill:
    """Add the repairs up."""
    return Bill(_sum(repairs, "price"), _sum(repairs, "minutes"), hourly_rate, currency)


def _sum(repairs: Sequence[Step], key: str) -> float | None:
    entered = [float(value) for step in repairs if isinstance(value := step.values.get(key), int | float)]
    return sum(entered) if entered else None
