"""Leads through the sweep of a fuse box: asks for a fuse, reads the meter, says the current, sums up."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from pathlib import Path

from meterlog.address import Address
from meterlog.capture import MeterSetup, meter_setup
from meterlog.cautions import Act, applying
from meterlog.driver import load_driver
from meterlog.driver.steady import steady_level
from meterlog.errors import MeterlogError, UsageError
from meterlog.exchange.finished_file import finished_file
from meterlog.fuses.fuse_table import Fuse, fuse_named, fuse_source
from meterlog.fuses.sweep import Current, Drop, against_battery, as_csv, suspects, table, total
from meterlog.limits import Limits
from meterlog.reading import Quantity
from meterlog.settings import meter_address
from meterlog.text.figures import seconds, shown
from meterlog.text.safe import one_line
from meterlog.text.typed import typed_amount

BATTERY = "battery"
"""The place of a clamp where a simulated one is put."""
WOKEN = 1.5
"""A current at the battery so many times the least one seen says that something woke up (guess)."""

Ask = Callable[[str], str | None]


class SweepTalk:
    """One sweep.

    Args:
        meter: the address of the one across the fuses.
        clamp: of the one at the battery, or None.
        limits: what may be drawn, and when all must be asleep.
        off_s: how long the key had been off at the start, s.
        out: where the readings are kept, or None.
    """

    def __init__(self, meter: str, clamp: str | None, limits: Limits, off_s: float, out: Path | None) -> None:
        self._meter = meter_address(meter)
        if "scale" in self._meter.options:
            raise UsageError(f"'{self._meter}' has a scale: the sweep wants the volts across the fuses as they are")
        self._clamp = meter_address(clamp) if clamp else None
        for address in filter(None, (self._meter, self._clamp)):
            meter_setup(str(address))  # a wrong one is said before anybody lies under a dashboard
        self._asleep_s, self._most_a = limits.value("draw_asleep_after_s"), limits.value("draw_asleep_max_a")
        self._out, self._begun_s = out, time.monotonic() - off_s
        self._drops: list[Drop] = []
        self._fuses: dict[str, Fuse] = {}
        self._battery: list[Current] = []

    def lines(self, ask: Ask) -> Iterator[str]:
        """Ask until the person is done, and yield what to show."""
        yield "Key off, doors and bonnet latched, keys out of reach; touch nothing that wakes the vehicle."
        yield "The fuses stay in: tips on the two test points of each, the meter on DC mV, its leads in the volts jack."
        yield from applying(Act("measure", Quantity.DC_CURRENT, "off", near=frozenset(), backprobed=False, load_a=0.0))
        yield (
            f"All must be asleep {seconds(self._asleep_s)} after key-off; what is read before may still be awake."
            " The vehicle's service information goes first."
        )
        while (typed := ask(f"[{self._clock()}] fuse: ")) is not None and typed.strip().casefold() != "done":
            try:
                yield from self._answer(typed.strip())
            except MeterlogError as error:  # a slip ends nothing: what was read is kept
                yield f"  {error}"
        yield from self._summed_up()

    def _clock(self) -> str:
        since_s = int(self._since_s)
        left_s = self._asleep_s - since_s
        return f"{seconds(since_s)} after key-off" + (f", asleep in {seconds(left_s)}" if left_s > 0 else "")

    @property
    def _since_s(self) -> float:
        return time.monotonic() - self._begun_s

    def _answer(self, typed: str) -> Iterator[str]:
        word, _, rest = typed.partition(" ")
        if not word:
            yield "  type the fuse's place and kind, for example F12 mini-10A; 'undo', 'clamp' or 'done'"
        elif typed.casefold() == "undo":
            yield f"  taken back: {self._drops.pop().place}" if self._drops else "  nothing to take back"
            self._keep()
        elif word.casefold() == "clamp":
            yield from self._at_battery(rest)
        else:
            yield from self._across(word, rest)

    def _across(self, place: str, kind: str) -> Iterator[str]:
        """Read the meter across one fuse."""
        known = self._fuses.get(place.casefold())
        if not kind and known is None:
            raise UsageError(f"say what kind of fuse {place} is, for example {place} mini-10A or {place} 7.4mohm")
        fuse = fuse_named(kind) if kind else known
        assert fuse is not None
        volts, error_v = steady_level(self._setup(self._meter, place), Quantity.DC_VOLTAGE)
        drop = Drop(place, fuse, volts, error_v, self._since_s)
        self._fuses[place.casefold()] = fuse
        self._drops.append(drop)
        self._keep()
        yield f"  {one_line(place)} ({fuse.words}): {shown(volts, 'V', error_v)} = {drop.current.words}"
        if self._clamp is not None:
            yield from self._at_battery("")

    def _at_battery(self, typed: str) -> Iterator[str]:
        if typed:
            amperes, unit = typed_amount(typed)
            if unit != "A":
                raise UsageError(f"'{typed}' is no current: for example clamp 0.34A or clamp 340 mA")
            self._battery.append(Current(abs(amperes), 0.0))
        elif self._clamp is None:
            raise UsageError("type what the clamp shows, for example clamp 0.34A; or begin with --clamp ADDRESS")
        else:
            amperes, error_a = steady_level(self._setup(self._clamp, BATTERY), Quantity.DC_CURRENT)
            self._battery.append(Current(abs(amperes), error_a))
        now, least = self._battery[-1], min(one.amperes for one in self._battery)
        yield f"  at the battery: {now.words}"
        if now.amperes - now.error_a > WOKEN * least:
            yield f"  it was {shown(least, 'A')} before: something woke up; wait until it is asleep again"

    def _setup(self, address: Address, place: str) -> MeterSetup:
        """The meter; where options of its address move the probes, with them at the place."""
        if load_driver(address.scheme).moves(address):
            address = Address(address.scheme, address.target, {**address.options, "at": place})
        return meter_setup(str(address))

    def _keep(self) -> None:
        if self._out is not None:
            with finished_file(self._out, replace=True) as passing:
                passing.write_text(as_csv(self._drops), encoding="utf-8")

    def _summed_up(self) -> Iterator[str]:
        if not self._drops:
            yield "nothing was read"
            return
        yield ""
        yield from (f"  {one_line(line)}" for line in table(self._drops, self._asleep_s))
        yield f"{suspects(self._drops, self._most_a)}."
        if self._battery:
            yield f"Of all: {against_battery(total(self._drops), self._battery[-1])}."
        else:
            together = total(self._drops).words
            yield f"Together the fuses carry {together}; a clamp at the battery would say what is missing."
        if any(drop.fuse.spread for drop in self._drops):
            yield f"Resistances of the table: {fuse_source()}; type your own where you know it, F12 7.4mohm."
        yield (
            "A drop finds the branch; unplug its consumers one by one and watch the current at the battery to find the"
            " consumer."
        )
        if self._out is not None and self._out.exists():
            yield f"kept in {one_line(str(self._out))}"
