"""Weighs what it costs to act now and to be wrong, against one more reading: the same choice as a mechanic's."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field

from meterlog.circuit.model.circuit import Circuit
from meterlog.circuit.next_measurement.propose import Step
from meterlog.details import entered_number
from meterlog.errors import UsageError, did_you_mean
from meterlog.text.figures import percent

MINUTES_AN_HOUR = 60.0

IN_VAIN_MIN = 20.0
"""Minutes that a wrong part costs beside its own: to put all together, to try, to see that it was in vain, and to begin
again. A guess."""
QUICK_FROM = 0.8
"""From this probability on a part that is replaced quicker than the reading is taken is worth trying. A choice."""
TRACE_MIN = 30.0
"""Minutes to find why a command does not come: there is no part to put in. A guess."""
HOURLY_RATE, CURRENCY, PRICE = "hourly_rate", "currency", "price_"
"""Details of a job that say what things cost; a part's is `price_` with its id."""


@dataclass(frozen=True, slots=True)
class Money:
    """Holds what things cost, as a person entered it; nothing is assumed.

    Attributes:
        hourly_rate: of an hour of work; None where nobody said.
        currency: a sign or code that follows a price; may be empty.
        prices: of parts by id; they come before those of the circuit's file.
    """

    hourly_rate: float | None = None
    currency: str = ""
    prices: Mapping[str, float] = field(default_factory=dict)

    def said(self, amount: float) -> str:
        """An amount as a person writes it: `12 EUR`, `2.5 EUR`, `137 EUR`."""
        return f"{amount:.{0 if amount >= 10 else 1}f} {self.currency}".replace(".0 ", " ").strip()


def entered_money(details: Mapping[str, str], hourly_rate: float | None = None, currency: str = "") -> Money:
    """The money of a job's details; what they leave out is as given here."""
    prices = {key.removeprefix(PRICE): entered_number(details, key) for key in details if key.startswith(PRICE)}
    rate = entered_number(details, HOURLY_RATE)
    return Money(
        hourly_rate if rate is None else rate,
        details.get(CURRENCY, currency),
        {part: price for part, price in prices.items() if price is not None},
    )


def check_priced(parts: Iterable[str], circuit: Circuit, where: str) -> None:
    """Refuse the price of a part that a circuit does not have: it would count nowhere.

    Raises:
        UsageError: naming `where` it was said, the part, and the nearest one.
    """
    for sentence in priced_elsewhere(parts, circuit):
        raise UsageError(f"{where}: {sentence}")


def priced_elsewhere(parts: Iterable[str], circuit: Circuit) -> Iterator[str]:
    """Say of each part that has a price and is not in a circuit what it may be instead."""
    for part in parts:
        if part not in circuit.part_index:
            yield f"the circuit has no part '{part}'{did_you_mean(part, circuit.part_index)}"


@dataclass(frozen=True, slots=True)
class Choice:
    """Replacing a part now, beside one more step.

    Attributes:
        part: the likeliest one.
        bought: there is a part to put in; else its command is to be traced.
        right_now: the probability that replacing it now is right.
        right_after: the same after the step, with whatever is the likeliest part then.
        minutes: to reach and replace the part, or to trace the command.
        reading_minutes: of the step.
        price: of the part; None where nobody said.
        money: what else things cost.
    """

    part: str
    bought: bool
    right_now: float
    right_after: float
    minutes: float
    reading_minutes: float
    price: float | None
    money: Money

    @property
    def loss_now(self) -> float:
        """The expected loss by replacing it now, in minutes: the work, the part and the try, if it is the wrong one.

        Without the part's price, or without that of an hour, only minutes count.
        """
        return (1 - self.right_now) * self._whole

    @property
    def loss_after(self) -> float:
        """The expected loss by the step first: its minutes, and the same where it still misleads."""
        return self.reading_minutes + (1 - self.right_after) * self._whole

    @property
    def pays(self) -> bool:
        """Tell whether the step costs less than it is expected to save."""
        return self.loss_after < self.loss_now

    @property
    def quicker(self) -> bool:
        """Tell whether the part is replaced in less time than the step takes, and no price speaks against it."""
        quick = self.minutes < self.reading_minutes and not self.price
        return quick and self.right_now >= QUICK_FROM and not self.pays

    @property
    def text(self) -> str:
        """Both in one sentence; with money where it was entered."""
        doing = f"replacing {self.part} now" if self.bought else f"tracing now why {self.part} does not come"
        bought = f"{self.money.said(self.price)} and " if self.price is not None else ""
        cost = f"{bought}{self._time(self.minutes, self.price or 0.0)}"
        return (
            f"{doing} ({cost}) is right in {percent(self.right_now)}; one more step"
            f" ({self._time(self.reading_minutes)}) makes it {percent(self.right_after)}{self._on_average}"
        )

    def _time(self, minutes: float, price: float = 0.0) -> str:
        rate = self.money.hourly_rate
        if rate is None:
            return f"{minutes:.0f} min"
        whole = self.money.said(price + minutes * rate / MINUTES_AN_HOUR)
        return f"{minutes:.0f} min, {whole}{' in all' if price else ''}"

    @property
    def _on_average(self) -> str:
        """Return what each way loses on the average, in money; empty where no hour has a price."""
        rate = self.money.hourly_rate
        if rate is None:
            return ""
        now, after = (self.money.said(loss * rate / MINUTES_AN_HOUR) for loss in (self.loss_now, self.loss_after))
        return f"; being wrong costs {now} on the average now, {after} with the step"

    @property
    def _whole(self) -> float:
        """Minutes of work, of the try and, by the price of an hour, of the part."""
        rate = self.money.hourly_rate
        bought = self.price * MINUTES_AN_HOUR / rate if self.price is not None and rate else 0.0
        return self.minutes + bought + IN_VAIN_MIN


def choice(circuit: Circuit, part: str, probability: float, step: Step, money: Money) -> Choice:
    """Set the likeliest part beside the best step.

    A command that never comes has no part to buy: what does not send it is to be found.
    """
    after = max(step.right_after, probability)
    if part in circuit.commands:
        minutes = circuit.parts[circuit.commands[part]].access_min + TRACE_MIN
        return Choice(part, False, probability, after, minutes, step.minutes, None, money)
    found = circuit.parts[circuit.part_index[part]]
    minutes = found.access_min + (found.replace_min or 0.0)
    price = money.prices.get(part, found.price)
    return Choice(part, True, probability, after, minutes, step.minutes, price, money)
