"""Weighs what it costs to act now and to be wrong, against one more reading: the same choice as a mechanic's."""

from __future__ import annotations

from dataclasses import dataclass

from meterlog.circuit.model.circuit import Circuit, Part
from meterlog.circuit.next_measurement.propose import Step

MINUTES_AN_HOUR = 60.0

IN_VAIN_MIN = 20.0
"""Minutes that a wrong part costs beside its own: to put all together, to try, to see that it was in vain, and to begin
again. A guess."""
QUICK_FROM = 0.8
"""From this probability on a part that is replaced quicker than the reading is taken is worth trying. A choice."""


@dataclass(frozen=True, slots=True)
class Choice:
    """Replacing a part now, beside taking one more reading.

    Attributes:
        part: the likeliest one.
        right_now: the probability that replacing it now is right.
        right_after: the same after the reading, with whatever is the likeliest part then.
        minutes: to reach and replace the part.
        reading_minutes: of the reading.
        price: of the part; None where nobody said.
    """

    part: str
    right_now: float
    right_after: float
    minutes: float
    reading_minutes: float
    price: float | None

    def loss_now(self, hour_price: float | None = None) -> float:
        """The expected loss by replacing it now, in minutes: the work, the part and the try, if it is the wrong one.

        Args:
            hour_price: of an hour of work; without it, or without the part's price, only minutes count.
        """
        return (1 - self.right_now) * self._whole(hour_price)

    def loss_after(self, hour_price: float | None = None) -> float:
        """The expected loss by reading first: the reading's minutes, and the same where it still misleads."""
        return self.reading_minutes + (1 - self.right_after) * self._whole(hour_price)

    def pays(self, hour_price: float | None = None) -> bool:
        """Tell whether the reading costs less than it is expected to save."""
        return self.loss_after(hour_price) < self.loss_now(hour_price)

    @property
    def quicker(self) -> bool:
        """Tell whether the part is replaced in less time than the reading takes, and no price speaks against it."""
        quick = self.minutes < self.reading_minutes and not self.price
        return quick and self.right_now >= QUICK_FROM and not self.pays()

    @property
    def text(self) -> str:
        """Both in one sentence."""
        part = f"{self.price:g} and {self.minutes:.0f} min" if self.price is not None else f"{self.minutes:.0f} min"
        return (
            f"putting {self.part} right now ({part}) is right in {self.right_now:.0%}; one more reading"
            f" ({self.reading_minutes:.0f} min) makes it {self.right_after:.0%}"
        )

    def _whole(self, hour_price: float | None) -> float:
        bought = self.price * MINUTES_AN_HOUR / hour_price if self.price is not None and hour_price else 0.0
        return self.minutes + bought + IN_VAIN_MIN


def choice(circuit: Circuit, part: str, probability: float, step: Step) -> Choice:
    """Set the likeliest part beside the best step.

    A command that never comes has no part to buy: it costs the minutes to the part that it closes.
    """
    found = _part(circuit, part)
    minutes = found.access_min + (found.replace_min or 0.0)
    price = None if part in circuit.commands else found.price
    after = max(step.right_after, probability)
    return Choice(part, probability, after, minutes, step.minutes, price)


def _part(circuit: Circuit, id_: str) -> Part:
    return circuit.parts[circuit.commands[id_] if id_ in circuit.commands else circuit.part_index[id_]]
